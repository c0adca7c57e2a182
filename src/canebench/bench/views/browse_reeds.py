"""Reeds to look through, a page of them at a time, and what has become of each lot; in bounded queries.

Guarded by `tests/web/test_reeds.py`; figures in `benchmarks/pages.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.pressure import PressureUnit, pressure_in, reading_said
from canebench.base.uncertain import number
from canebench.bench.acts.band import unit_of
from canebench.bench.acts.reeds.choose_reeds import pitches_of
from canebench.bench.acts.reeds.stock import SEARCHED
from canebench.bench.acts.reeds.strengths import read_strengths
from canebench.bench.views.browse_reed import report_of
from canebench.bench.views.drawing.small import small_beam, strength_bar
from canebench.bench.views.verdict import verdict_of
from canebench.fitting.balance import POSTS
from canebench.reeds.states import state_named
from canebench.store.records import (
    STATES,
    ChanterRecord,
    LotRecord,
    PlayerRecord,
    PlayRecord,
    ReedRecord,
    TakeRecord,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.acts.reeds.strengths import Strengths
    from canebench.bench.views.drawing.small import SmallBeam, StrengthBar
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Like, Reader
    from canebench.store.records import PitchRecord
    from canebench.store.tables import Value

PAGE: Final = 100
_LOTS: Final = 50
_MOST_LABELS: Final = 1_000
#: How reeds may be put in order: what the address says, and the column.
ORDERS: Final = {"number": "#number", "newest": "-id", "state": "state"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a list of reeds is asked for; None for anything."""

    state: str | None = None
    lot: str | None = None
    player: str | None = None
    search: str | None = None
    order: str = "number"
    page: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedLine:
    """One reed in a list, in words; empty for what nobody has told."""

    reed: ReedRecord
    lot: str
    player: str
    chanter: str
    strength: str
    tilt: str
    height: str
    beam: SmallBeam | None
    bar: StrengthBar | None
    pinches: int
    minutes: str
    last: ActRecord | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedList:
    """A page of reeds; `states` counts those that match but for their state."""

    lines: list[ReedLine]
    total: int
    states: dict[str, int]
    lots: list[LotRecord]
    players: list[PlayerRecord]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotLine:
    """A lot, what is told of it, and what has become of its reeds."""

    lot: LotRecord
    told: str
    reeds: int
    states: dict[str, int]


def list_page(ledger: Ledger, asked: Asked) -> ReedList:
    """A page of reeds with what belongs to them."""
    if asked.order not in ORDERS:
        raise InputError(field="order", given=repr(asked.order), allowed=f"one of {', '.join(ORDERS)}")
    with ledger.reading() as reader:
        lots, players = reader.rows(LotRecord), reader.rows(PlayerRecord, order="name")
        where, like = _condition(asked, lots, players)
        but_state = {column: value for column, value in where.items() if column != "state"}
        states = {str(k): n for k, n in reader.counts(ReedRecord, "state", but_state, like=like).items()}
        reeds = reader.rows(
            ReedRecord,
            where,
            order=ORDERS[asked.order],
            limit=PAGE,
            offset=PAGE * (asked.page - 1),
            like=like,
        )
        return ReedList(
            lines=_lines(reader, reeds, lots, players),
            total=states.get(str(where["state"]), 0) if "state" in where else sum(states.values()),
            states={state: states[state] for state in STATES if state in states},
            lots=lots,
            players=players,
        )


def numbers_asked(ledger: Ledger, asked: Asked) -> list[str]:
    """The numbers of all reeds that match, for a sheet of labels."""
    with ledger.reading() as reader:
        where, like = _condition(asked, reader.rows(LotRecord), reader.rows(PlayerRecord))
        count = reader.count(ReedRecord, where, like=like)
        if count > _MOST_LABELS:
            raise InputError(
                field="labels",
                given=f"{count} reeds",
                allowed=f"at most {_MOST_LABELS} are printed at once: choose a lot or a state",
            )
        return [reed.number for reed in reader.rows(ReedRecord, where, order="#number", like=like)]


def _condition(
    asked: Asked, lots: Sequence[LotRecord], players: Sequence[PlayerRecord]
) -> tuple[dict[str, Value], Like | None]:
    where: dict[str, Value] = {}
    if asked.lot:
        where["lot_id"] = next((lot.id for lot in lots if lot.name == asked.lot), -1)
    if asked.player:
        where["player_id"] = next((one.id for one in players if one.name == asked.player), -1)
    if asked.state:
        where["state"] = state_named(asked.state).value
    return where, (SEARCHED, asked.search) if asked.search else None


def _lines(
    reader: Reader, reeds: Sequence[ReedRecord], lots: Sequence[LotRecord], players: Sequence[PlayerRecord]
) -> list[ReedLine]:
    ids = [reed.id for reed in reeds]
    strengths, unit = read_strengths(reader, ids), unit_of(reader)
    takes = {take.reed_id: take for take in reader.newest_of_many(TakeRecord, "reed_id", ids, order="at")}
    pitches = pitches_of(reader, takes.values())
    played = reader.sums(PlayRecord, "minutes", "reed_id", ids)
    held = {
        reed.id: takes[reed.id].chanter_id
        if reed.chanter_id is None and reed.id in takes
        else reed.chanter_id
        for reed in reeds
    }
    chanters = reader.by_id(ChanterRecord, held.values())
    last = reader.last_acts(ReedRecord, ids)
    lot_names, player_names = {lot.id: lot.name for lot in lots}, {one.id: one.name for one in players}
    found = []
    for reed in reeds:
        take = takes.get(reed.id)
        # Both As tell height and tilt: nine notes for a hundred reeds would be half of the page's time.
        report = None if take is None else report_of(take, _posts(pitches[take.id]))
        tilt, height = _beam_said(report)
        chanter = chanters.get(held[reed.id])
        found.append(
            ReedLine(
                reed=reed,
                lot="" if reed.lot_id is None else lot_names.get(reed.lot_id, ""),
                player="" if reed.player_id is None else player_names.get(reed.player_id, ""),
                chanter="" if chanter is None else chanter.name,
                strength=strength_said(strengths, reed.id, unit),
                tilt=tilt,
                height=height,
                beam=small_beam(report),
                bar=strength_bar(strengths.known(reed.id), by_mouth=_by_mouth(strengths, reed.id)),
                pinches=strengths.pinches(reed.id),
                minutes=number(played[reed.id], 0) if played.get(reed.id) else "",
                last=last.get(reed.id),
            )
        )
    return found


def _posts(pitches: Sequence[PitchRecord]) -> list[PitchRecord]:
    return [pitch for pitch in pitches if pitch.note in POSTS]


def _beam_said(report: TakeReport | None) -> tuple[str, str]:
    """Tilt and height of a take in words; the height is empty where nothing but itself was the reference."""
    if report is None or report.balance is None or report.measurement.reference is None:
        return "", ""
    said = verdict_of(report)
    return said.tilt, "" if report.measurement.reference.kind == "low-a" else said.height


def _by_mouth(strengths: Strengths, reed_id: int) -> bool:
    readings = strengths.readings[reed_id]
    return bool(readings) and not readings[-1].pressures_kpa and readings[-1].by_mouth is not None


def strength_said(strengths: Strengths, reed_id: int, unit: PressureUnit | None) -> str:
    """What it takes to play, in the band's unit first; what was told by mouth, or before a pinch, says so."""
    readings = strengths.readings[reed_id]
    if not readings:
        return ""
    known, mouth = strengths.known(reed_id), readings[-1].by_mouth
    if known is None:
        return "" if mouth is None else f"by mouth: {mouth}"
    kpa = known.kpa
    first = unit or PressureUnit.INH2O
    other = PressureUnit.INH2O if first is PressureUnit.KPA else PressureUnit.KPA
    said = f"{reading_said(kpa, first)} = {pressure_in(kpa.value, other)}"
    told = not readings[-1].pressures_kpa.keys().isdisjoint(("playing", "onset", "choke"))
    said = said if told or mouth is None else f"{said}, by mouth"
    return said if known.before is None else f"{said}, {known.before}"


def lot_lines(ledger: Ledger) -> list[LotLine]:
    """Every lot, newest first, and where its reeds have come to."""
    with ledger.reading() as reader:
        lots = reader.rows(LotRecord, order="-id", limit=_LOTS)
        counted = [reader.counts(ReedRecord, "state", {"lot_id": lot.id}) for lot in lots]
    return [
        LotLine(
            lot=lot,
            told=lot_said(lot),
            reeds=sum(states.values()),
            states={state: states[state] for state in STATES if state in states},
        )
        for lot, states in zip(lots, counted, strict=True)
    ]


def lot_said(lot: LotRecord) -> str:
    """When it was bought, for how much, of what cane and cut; what is told of it."""
    price = None if lot.price is None else f"{number(lot.price, 2)} {lot.currency or ''}".strip()
    parts = (
        lot.bought_on and f"bought on {lot.bought_on}",
        price,
        lot.cane and f"cane {lot.cane}",
        lot.cut and f"cut {lot.cut}",
        lot.remarks,
    )
    return ", ".join(part for part in parts if part)
