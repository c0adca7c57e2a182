"""The ledger: rows that are read, and acts that change them, each with who and when, each to be undone.

An act is one transaction. Whatever it changes is written down as the row before and after: undoing an act
puts back what was there, and refuses where something else has changed the row since. Nothing is deleted at
once: what is removed lies in the bin for thirty days. Guarded by `tests/store/test_contract.py`.
"""

from __future__ import annotations

from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.store.engine import open_database
from canebench.store.migrate import migrate, revision_of
from canebench.store.reader import Reader
from canebench.store.schema import HEAD
from canebench.store.tables import TABLES
from canebench.store.values import written
from canebench.store.writer import Writer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from canebench.store.database import Database

BIN_DAYS: Final = 30


def utc_now() -> datetime:
    """The present moment."""
    return datetime.now(UTC)


class Ledger:
    """A ledger that is ready for use."""

    def __init__(self, database: Database, *, clock: Callable[[], datetime] = utc_now) -> None:
        self.database = database
        self.clock = clock

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """One unchanging state."""
        with self.database.read() as connection:
            yield Reader(connection)

    @contextmanager
    def act(self, kind: str, *, who: str, said: str) -> Iterator[Writer]:
        """One act: all of it or nothing."""
        with self.database.write() as connection:
            writer = Writer(connection, at=written(self.clock()), who=who, kind=kind, said=said)
            yield writer
            writer.close()

    def begin_to_keep(self) -> None:
        """Called before what took long is kept; a door's ledger refuses where nobody waits any more."""

    def undo(self, act_id: int, *, who: str) -> int:
        """Undo an act; the number of the act that did so."""
        with self.reading() as reader:
            record = reader.act(act_id)
        if record.undone_by is not None:
            raise InputError(
                field="act", given=f"{act_id}", allowed=f"it was undone by act {record.undone_by}"
            )
        with self.act("undo", who=who, said=f"undid: {record.said}") as writer:
            writer.undo(record)
            return writer.act_id

    def empty_bin(self, *, who: str) -> int:
        """Delete for good what has lain in the bin for thirty days; how many rows that were."""
        before = written(self.clock() - timedelta(days=BIN_DAYS))
        with self.reading() as reader:
            if not any(reader.lain_since(table, before) for table in TABLES.values()):
                return 0
        count = 0
        with self.act(
            "empty-bin", who=who, said=f"emptied the bin of what was removed before {before}"
        ) as writer:
            for table in reversed(list(TABLES.values())):
                count += writer.delete_removed(table, before)
        return count


def _keep_snapshot(database: Database, clock: Callable[[], datetime]) -> None:
    from canebench.store.backups.snapshots import keep_snapshot  # noqa: PLC0415 - only where there is a need

    keep_snapshot(database, "before-migration", at=written(clock()))


def open_ledger(url: str, *, clock: Callable[[], datetime] = utc_now) -> Ledger:
    """The ledger at `url`, brought to this version's schema; a new one where there is none."""
    database = open_database(url)
    if revision_of(database) != HEAD:
        migrate(database, before=lambda: _keep_snapshot(database, clock))
    return Ledger(database, clock=clock)
