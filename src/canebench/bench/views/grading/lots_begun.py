"""Lots that may be graded, newest first, and how far each has come; what the next one may be called.

Guarded by `tests/web/test_lots.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.bench.acts.ledger import named
from canebench.bench.acts.reeds.stock import take_in_lot
from canebench.store.records import LotRecord, ReedRecord, StrengthRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger

_SHOWN: Final = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class LotBegun:
    """A lot, how many reeds it has, and of how many a strength was ever read."""

    lot: LotRecord
    reeds: int
    graded: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LotsBegun:
    """The newest lots, and a name that is free for the next box."""

    lots: list[LotBegun]
    next_name: str


def lots_begun(ledger: Ledger) -> LotsBegun:
    """The newest lots with how far each is graded."""
    with ledger.reading() as reader:
        lots = reader.rows(LotRecord, order="-id", limit=_SHOWN)
        reeds = reader.of_many(ReedRecord, "lot_id", [lot.id for lot in lots])
        graded = reader.counts(StrengthRecord, "reed_id")
        count = reader.count(LotRecord)
        taken = {lot.name for lot in reader.rows(LotRecord)}
    found = [
        LotBegun(
            lot=lot,
            reeds=sum(reed.lot_id == lot.id for reed in reeds),
            graded=sum(reed.lot_id == lot.id and reed.id in graded for reed in reeds),
        )
        for lot in lots
    ]
    place = count + 1
    while f"box {place}" in taken:
        place += 1
    return LotsBegun(lots=found, next_name=f"box {place}")


def begin_lot(ledger: Ledger, *, name: str, count: int, first: int | None, who: str) -> int:
    """Take in a lot, and say which row of the ledger it is: its sheet goes by that."""
    take_in_lot(ledger, who=who, name=name, count=count, first=first)
    with ledger.reading() as reader:
        return named(reader, LotRecord, name).id
