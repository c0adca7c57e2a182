"""The grading sheet of a lot: a row for each reed, its place from easy to strong, and the last entry.

Guarded by `tests/web/test_lots.py`; figures in `benchmarks/pages.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import day_said
from canebench.base.errors import UnknownNameError
from canebench.base.pressure import PressureUnit, reading_said
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.acts.reeds.grading.graded_rows import graded_rows
from canebench.bench.acts.reeds.strengths import read_strengths
from canebench.care.strain import within_ceiling
from canebench.reeds.states import NOT_OFFERED
from canebench.store.records import LotRecord, PlayerRecord, ReedRecord, StrengthRecord

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import tzinfo

    from canebench.bench.acts.reeds.grading.graded_rows import GradedRow
    from canebench.bench.acts.reeds.strengths import KnownStrength, Strengths
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: So many rows stand on one page of a sheet.
ROWS: Final = 100
#: So many of the newest readings are asked what unit the gauge here is in.
_ASKED: Final = 20
#: The hyphen that no line ends at: a date stays whole in a narrow column.
_NO_BREAK: Final = "\u2011"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One reed's row; `place` is where it stands in its lot in words, `minds` what to mind of it."""

    row: GradedRow
    place: str
    minds: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LastEntry:
    """The newest act of the ledger, where that graded reeds of this lot."""

    act: int
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GradingSheet:
    """A page of a lot's reeds; `order` are the numbers of all that are graded, the easiest first."""

    lot: LotRecord
    unit: PressureUnit
    rows: list[SheetRow]
    order: list[str]
    total: int
    players: list[str]
    last: LastEntry | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """In which unit, and by whose clock."""

    unit: PressureUnit
    zone: tzinfo | None


def grading_sheet(
    ledger: Ledger, lot_id: int, *, unit: PressureUnit | None = None, page: int = 1
) -> GradingSheet:
    """The sheet of a lot, pressures in `unit`, else in the settled one, the newest reading's, or inches."""
    with ledger.reading() as reader:
        lot = reader.row(LotRecord, lot_id)
        chosen = _gauge_unit(reader) if unit is None else unit
        zone = zone_of(reader)
        reeds = reader.rows(ReedRecord, {"lot_id": lot.id}, order="#number")
        strengths = read_strengths(reader, [reed.id for reed in reeds])
        known = {reed.id: strengths.known(reed.id) for reed in reeds}
        order = _order(reeds, known)
        shown = reeds[ROWS * (page - 1) : ROWS * page]
        rows = graded_rows(reader, shown, unit=chosen, now=ledger.clock())
        players = reader.rows(PlayerRecord, order="name")
        ceilings = {player.id: player for player in players}
        ids = {reed.id for reed in reeds}
        return GradingSheet(
            lot=lot,
            unit=chosen,
            rows=[
                SheetRow(
                    row=row,
                    place=_place(row, known[row.reed.id], order, strengths, _Shown(unit=chosen, zone=zone)),
                    minds=_minds(row, ceilings),
                )
                for row in rows
            ],
            order=[reed.number for reed in order],
            total=len(reeds),
            players=[player.name for player in players],
            last=_last_entry(reader, ids),
        )


def unit_named(name: str) -> PressureUnit:
    """The unit of that name."""
    try:
        return PressureUnit(name)
    except ValueError as error:
        raise UnknownNameError(field="unit", given=name, known=PressureUnit) from error


def _gauge_unit(reader: Reader) -> PressureUnit:
    settled = unit_of(reader)
    if settled is not None:
        return settled
    newest = reader.rows(StrengthRecord, order="-id", limit=_ASKED)
    return next((PressureUnit(row.given_unit) for row in newest if row.given_unit), PressureUnit.INH2O)


def _order(reeds: Sequence[ReedRecord], known: Mapping[int, KnownStrength | None]) -> list[ReedRecord]:
    """Reeds whose strength is known, the easiest first; what is set aside has no place."""
    told = [
        (one.kpa.value, reed) for reed in reeds if (one := known[reed.id]) and reed.state not in NOT_OFFERED
    ]
    return [reed for _, reed in sorted(told, key=lambda pair: pair[0])]


def _place(
    row: GradedRow,
    known: KnownStrength | None,
    order: Sequence[ReedRecord],
    strengths: Strengths,
    shown: _Shown,
) -> str:
    """Where a reed stands among those graded; what was not read off a gauge in this sitting says so."""
    reed, content = row.reed, row.read.content
    if reed.state in NOT_OFFERED:
        return reed.state
    if known is None:
        return f"no place until reed {content.than} is graded" if content.mouth and content.than else ""
    place = next(n for n, one in enumerate(order, start=1) if one.id == reed.id)
    parts = [f"{place} of {len(order)}"]
    if not content.gauge:
        kpa = known.kpa
        parts.append(reading_said(kpa, shown.unit))
        if row.reading is None:
            parts.append(f"read on {day_said(known.at, shown.zone).replace('-', _NO_BREAK)}")
        elif strengths.readings[reed.id][-1].by_mouth:
            parts.append("by mouth")
    parts += [known.before] if known.before else []
    return ", ".join(parts)


def _minds(row: GradedRow, players: Mapping[int, PlayerRecord]) -> str:
    """Where it asks for more than the ceiling of who blew it."""
    reading = row.reading
    if reading is None or reading.playing_kpa is None or reading.player_id is None:
        return ""
    player = players.get(reading.player_id)
    if player is None or player.ceiling_kpa is None:
        return ""
    past = within_ceiling(reading.playing_kpa, player.ceiling_kpa)
    return "" if past is None else f"{player.name}: {past.say}"


def _last_entry(reader: Reader, ids: set[int]) -> LastEntry | None:
    act = reader.last_act()
    if act is None or act.kind != "grade":
        return None
    for table, row_id, before, after in act.changes:
        row = after or before or {}
        if (row_id if table == "reeds" else row.get("reed_id")) in ids:
            return LastEntry(act=act.id, said=act.said)
    return None
