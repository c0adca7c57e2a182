"""Ledgers for the tests: a clock that tells what it is told, and acts that many tests begin with."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from canebench.store.migrate import revision_of
from canebench.store.wholeness.all_amiss import all_amiss

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.reader import AnyRecord
    from canebench.store.tables import Row


class Clock:
    """A clock that moves a second with every look."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        """A second later than at the last look."""
        self.now += timedelta(seconds=1)
        return self.now

    def pass_days(self, days: float) -> None:
        """Let so many days go by."""
        self.now += timedelta(days=days)


@pytest.fixture
def clock() -> Clock:
    """A new one for each test."""
    return Clock()


def take_in(ledger: Ledger, name: str = "spring", *, count: int = 2) -> tuple[int, list[int]]:
    """A lot with reeds; their ids."""
    with ledger.act("take-in", who="Ailsa", said=f"took in {name}") as act:
        lot = act.insert("lots", {"name": name, "count": count})
        reeds = [
            act.insert(
                "reeds", {"number": f"{name}{i}", "lot_id": lot, "state": "new", "state_since": act.at}
            )
            for i in range(count)
        ]
    return lot, reeds


def row_of(ledger: Ledger, record: type[AnyRecord], row_id: int) -> AnyRecord:
    """One row as it stands."""
    with ledger.reading() as reader:
        return reader.row(record, row_id)


def dump_of(ledger: Ledger) -> dict[str, list[Row]]:
    """Everything in the ledger."""
    with ledger.reading() as reader:
        return reader.dump()


def amiss_of(ledger: Ledger) -> list[str]:
    """All that is wrong with the ledger as it lies there."""
    with ledger.database.read() as connection:
        revision = revision_of(ledger.database)
        return all_amiss(connection, dialect=ledger.database.dialect, revision=revision)


def last_act(ledger: Ledger) -> int:
    """The number of the newest act, of whatever kind."""
    with ledger.reading() as reader:
        return reader.history(limit=1)[0].id
