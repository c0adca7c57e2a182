"""Reeds to look through, a page of them at a time, and what has become of each lot; in bounded queries.

Guarded by `tests/web/test_reeds.py`; figures in `benchmarks/pages.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError
from canebench.base.pressure import kpa_to_inh2o
from canebench.base.uncertain import Uncertain, number
from canebench.bench.acts.ledger import number_of
from canebench.bench.acts.reeds.reed_days import playing_kpa, read_strengths
from canebench.bench.acts.reeds.stock import SEARCHED
from canebench.bench.views.browse_reed import report_of
from canebench.bench.views.verdict import verdict_of
from canebench.reeds.states import state_named
from canebench.store.records import STATES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.store.ledger import Ledger
    from canebench.store.reader import Like, Reader
    from canebench.store.tables import Row, Value

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

    reed: Row
    lot: str
    player: str
    chanter: str
    strength: str
    tilt: str
    height: str
    pinches: int
    minutes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedList:
    """A page of reeds; `states` counts those that match but for their state."""

    lines: list[ReedLine]
    total: int
    states: dict[str, int]
    lots: list[Row]
    players: list[Row]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotLine:
    """A lot, what is told of it, and what has become of its reeds."""

    lot: Row
    told: str
    reeds: int
    states: dict[str, int]


def list_page(ledger: Ledger, asked: Asked) -> ReedList:
    """A page of reeds with what belongs to them."""
    if asked.order not in ORDERS:
        raise InputError(field="order", given=repr(asked.order), allowed=f"one of {', '.join(ORDERS)}")
    with ledger.reading() as reader:
        lots, players = reader.rows("lots"), reader.rows("players", order="name")
        where, like = _condition(asked, lots, players)
        but_state = {column: value for column, value in where.items() if column != "state"}
        states = {str(k): n for k, n in reader.counts("reeds", "state", but_state, like=like).items()}
        reeds = reader.rows(
            "reeds", where, order=ORDERS[asked.order], limit=PAGE, offset=PAGE * (asked.page - 1), like=like
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
        where, like = _condition(asked, reader.rows("lots"), reader.rows("players"))
        count = reader.count("reeds", where, like=like)
        if count > _MOST_LABELS:
            raise InputError(
                field="labels",
                given=f"{count} reeds",
                allowed=f"at most {_MOST_LABELS} are printed at once: choose a lot or a state",
            )
        return [str(row["number"]) for row in reader.rows("reeds", where, order="#number", like=like)]


def _condition(
    asked: Asked, lots: Sequence[Row], players: Sequence[Row]
) -> tuple[dict[str, Value], Like | None]:
    where: dict[str, Value] = {}
    for column, name, rows in (("lot_id", asked.lot, lots), ("player_id", asked.player, players)):
        if name:
            where[column] = next((row["id"] for row in rows if row["name"] == name), -1)
    if asked.state:
        where["state"] = state_named(asked.state).value
    return where, (SEARCHED, asked.search) if asked.search else None


def _lines(
    reader: Reader, reeds: Sequence[Row], lots: Sequence[Row], players: Sequence[Row]
) -> list[ReedLine]:
    ids = [number_of(reed, "id") for reed in reeds]
    strengths = read_strengths(reader, ids)
    takes = {row["reed_id"]: row for row in reader.newest_of_many("takes", "reed_id", ids, order="at")}
    pitches = _by(reader.of_many("pitches", "take_id", [take["id"] for take in takes.values()]), "take_id")
    eases = _by(reader.of_many("eases", "reed_id", ids), "reed_id")
    played = reader.sums("plays", "minutes", "reed_id", ids)
    held = {reed["id"]: reed["chanter_id"] or takes.get(reed["id"], {}).get("chanter_id") for reed in reeds}
    chanters = reader.of_many("chanters", "id", sorted({one for one in held.values() if one is not None}))
    names = {
        table: {row["id"]: str(row["name"]) for row in rows}
        for table, rows in (("lots", lots), ("players", players), ("chanters", chanters))
    }
    found = []
    for reed, reed_id in zip(reeds, ids, strict=True):
        take = takes.get(reed_id)
        tilt, height = ("", "") if take is None else _beam_said(take, pitches.get(take["id"], []))
        found.append(
            ReedLine(
                reed=reed,
                lot=names["lots"].get(reed["lot_id"], ""),
                player=names["players"].get(reed["player_id"], ""),
                chanter=names["chanters"].get(held[reed_id], ""),
                strength=_strength_said(strengths, reed_id),
                tilt=tilt,
                height=height,
                pinches=sum(row["how"] == "pinch" for row in eases.get(reed_id, [])),
                minutes=number(played[reed_id], 0) if played.get(reed_id) else "",
            )
        )
    return found


def _by(rows: Sequence[Row], column: str) -> dict[Value, list[Row]]:
    found: dict[Value, list[Row]] = {}
    for row in rows:
        found.setdefault(row[column], []).append(row)
    return found


def _beam_said(take: Row, pitches: Sequence[Row]) -> tuple[str, str]:
    """Tilt and height of a take in words; the height is empty where nothing but itself was the reference."""
    # Both follow from the two As alone: nine notes for a hundred reeds would be half of the page's time.
    report = report_of(take, [row for row in pitches if row["note"] in ("low A", "high A")])
    if report is None or report.balance is None or report.measurement.reference is None:
        return "", ""
    said = verdict_of(report)
    return said.tilt, "" if report.measurement.reference.kind == "low-a" else said.height


def _strength_said(strengths: Mapping[Value, Sequence[Row]], reed_id: int) -> str:
    """What it takes to play, in both units; what was told by mouth says so."""
    readings = strengths[reed_id]
    if not readings:
        return ""
    kpa, mouth = playing_kpa(strengths, reed_id), readings[-1]["by_mouth"]
    if kpa is None:
        return "" if mouth is None else f"by mouth: {mouth}"
    inches = Uncertain(value=kpa_to_inh2o(kpa.value), sd=None if kpa.sd is None else kpa_to_inh2o(kpa.sd))
    said = f"{inches.text('inH2O')} = {number(kpa.value, 2)} kPa"
    told = any(readings[-1][f"{moment}_kpa"] is not None for moment in ("playing", "onset", "choke"))
    return said if told or mouth is None else f"{said}, by mouth"


def lot_lines(ledger: Ledger) -> list[LotLine]:
    """Every lot, newest first, and where its reeds have come to."""
    with ledger.reading() as reader:
        lots = reader.rows("lots", order="-id", limit=_LOTS)
        counted = [reader.counts("reeds", "state", {"lot_id": lot["id"]}) for lot in lots]
    return [
        LotLine(
            lot=lot,
            told=_lot_said(lot),
            reeds=sum(states.values()),
            states={state: states[state] for state in STATES if state in states},
        )
        for lot, states in zip(lots, counted, strict=True)
    ]


def _lot_said(lot: Row) -> str:
    """When it was bought, for how much, of what cane and cut; what is told of it."""
    parts: list[Any] = [lot["bought_on"] and f"bought on {lot['bought_on']}"]
    if lot["price"] is not None:
        parts.append(f"{number(float(lot['price']), 2)} {lot['currency'] or ''}".strip())
    parts += [lot["cane"] and f"cane {lot['cane']}", lot["cut"] and f"cut {lot['cut']}", lot["remarks"]]
    return ", ".join(str(part) for part in parts if part)
