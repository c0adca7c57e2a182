"""Reeds to look through: a page of them at a time, one reed with all that is known, in bounded queries.

Guarded by `tests/web/test_reeds.py`; figures in `benchmarks/pages.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.pressure import kpa_to_inh2o
from canebench.base.uncertain import Uncertain, number
from canebench.bench.kept_take import kept_report
from canebench.bench.ledger import number_of
from canebench.bench.verdict import verdict_of
from canebench.reeds.eases import said as eases_said
from canebench.reeds.states import MOVES, State, state_named
from canebench.store.tables import STATES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.bench.report import TakeReport
    from canebench.bench.verdict import Verdict
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.tables import Row, Value

PAGE: Final = 50
_STORY: Final = 100
_TAKES: Final = 60
#: How reeds may be put in order: what the address says, and the column.
ORDERS: Final = {"number": "#number", "newest": "-state_since", "state": "state"}


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
    """One reed in a list, in words."""

    reed: Row
    lot: str
    player: str
    strength: str
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
    """A lot and what has become of its reeds."""

    lot: Row
    reeds: int
    states: dict[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A take in a reed's story: its time, height and tilt, cents; None for what it does not tell."""

    take: Row
    height: str
    tilt: str
    height_cents: float | None
    tilt_cents: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthLine:
    """A strength reading in words, and its playing pressure in inches of water, if it has one."""

    at: str
    said: str
    inh2o: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedPage:
    """Everything that the page of one reed shows."""

    reed: Row
    lot: Row | None
    player: Row | None
    chanters: list[Row]
    moves: tuple[str, ...]
    minutes: str
    pinches: int
    pinches_said: str
    setting: Row | None
    tapes: list[Row]
    report: TakeReport | None
    verdict: Verdict | None
    points: list[Point]
    strengths: list[StrengthLine]
    rests_until: str | None
    story: list[ActRecord]


def list_page(ledger: Ledger, asked: Asked) -> ReedList:
    """A page of reeds with what belongs to them."""
    if asked.order not in ORDERS:
        raise InputError(field="order", given=repr(asked.order), allowed=f"one of {', '.join(ORDERS)}")
    with ledger.reading() as reader:
        lots, players = reader.rows("lots"), reader.rows("players", order="name")
        where: dict[str, Value] = {}
        for column, name, rows in (("lot_id", asked.lot, lots), ("player_id", asked.player, players)):
            if name:
                where[column] = next((row["id"] for row in rows if row["name"] == name), -1)
        states = {str(k): n for k, n in reader.counts("reeds", "state", where).items()}
        if asked.state:
            where["state"] = state_named(asked.state).value
        like = ("number", asked.search) if asked.search else None
        reeds = reader.rows(
            "reeds", where, order=ORDERS[asked.order], limit=PAGE, offset=PAGE * (asked.page - 1), like=like
        )
        return ReedList(
            lines=_lines(reader, reeds, lots, players),
            total=reader.count("reeds", where, like=like),
            states={state: states[state] for state in STATES if state in states},
            lots=lots,
            players=players,
        )


def _lines(reader: Reader, reeds: list[Row], lots: list[Row], players: list[Row]) -> list[ReedLine]:
    ids = [reed["id"] for reed in reeds]
    lot_names = {row["id"]: str(row["name"]) for row in lots}
    names = {row["id"]: str(row["name"]) for row in players}
    strengths = {row["reed_id"]: row for row in reader.of_many("strengths", "reed_id", ids, order="at")}
    pinches, minutes = dict.fromkeys(ids, 0), dict.fromkeys(ids, 0.0)
    for row in reader.of_many("eases", "reed_id", ids):
        pinches[row["reed_id"]] += row["how"] == "pinch"
    for row in reader.of_many("plays", "reed_id", ids):
        minutes[row["reed_id"]] += float(row["minutes"] or 0.0)
    return [
        ReedLine(
            reed=reed,
            lot=lot_names.get(reed["lot_id"], ""),
            player=names.get(reed["player_id"], ""),
            strength=_strength(strengths.get(reed["id"])),
            pinches=pinches[reed["id"]],
            minutes=number(minutes[reed["id"]], 0) if minutes[reed["id"]] else "",
        )
        for reed in reeds
    ]


def _strength(row: Row | None) -> str:
    """In both units, or by mouth; empty for what nobody has told."""
    if row is None:
        return ""
    if row["playing_kpa"] is None:
        return "" if row["by_mouth"] is None else f"{row['by_mouth']} (by mouth)"
    kpa, sd = float(row["playing_kpa"]), row["playing_sd_kpa"]
    inches = Uncertain(value=kpa_to_inh2o(kpa), sd=None if sd is None else kpa_to_inh2o(float(sd)))
    return f"{inches.text('inH2O')} = {number(kpa, 2)} kPa"


def lot_lines(ledger: Ledger) -> list[LotLine]:
    """Every lot, newest first, and where its reeds have come to."""
    with ledger.reading() as reader:
        found: dict[Value, dict[str, int]] = {}
        lots = reader.rows("lots", order="-id", limit=50)
        for lot in lots:
            counted = reader.counts("reeds", "state", {"lot_id": lot["id"]})
            found[lot["id"]] = {str(state): counted[state] for state in STATES if state in counted}
    return [LotLine(lot=lot, reeds=sum(found[lot["id"]].values()), states=found[lot["id"]]) for lot in lots]


def reed_page(ledger: Ledger, reed_id: int) -> ReedPage:
    """One reed with its whole story."""
    with ledger.reading() as reader:
        reed = reader.row("reeds", reed_id)
        of_reed: dict[str, Value] = {"reed_id": reed["id"]}
        takes = reader.rows("takes", of_reed, order="-at", limit=_TAKES)[::-1]
        pitches: dict[Value, list[Row]] = {}
        for row in reader.of_many("pitches", "take_id", [take["id"] for take in takes]):
            pitches.setdefault(row["take_id"], []).append(row)
        reports = [_report(take, pitches.get(take["id"], [])) for take in takes]
        settings = reader.rows("settings", of_reed, order="-at", limit=1)
        pinches = reader.count("eases", {**of_reed, "how": "pinch"})
        minutes = sum(float(row["minutes"] or 0.0) for row in reader.rows("plays", of_reed))
        used = {take["chanter_id"]: None for take in takes if take["chanter_id"] is not None}
        rests = reader.rows("mouth_tests", of_reed, order="-rests_until", limit=1)
        last = reports[-1] if reports else None
        return ReedPage(
            reed=reed,
            lot=_of(reader, "lots", reed["lot_id"]),
            player=_of(reader, "players", reed["player_id"]),
            chanters=[reader.row("chanters", int(one)) for one in used if isinstance(one, int)],
            moves=tuple(state.value for state in MOVES[State(str(reed["state"]))]),
            minutes=number(minutes, 0),
            pinches=pinches,
            pinches_said=eases_said(pinches),
            setting=settings[0] if settings else None,
            tapes=reader.rows("tapes", {"setting_id": settings[0]["id"]}) if settings else [],
            report=last,
            verdict=None if last is None else verdict_of(last),
            points=[_point(take, report) for take, report in zip(takes, reports, strict=True)],
            strengths=[_strength_line(row) for row in reader.rows("strengths", of_reed, order="at")],
            rests_until=str(rests[0]["rests_until"]) if rests else None,
            story=reader.story("reeds", reed_id, newest=_STORY)[::-1],
        )


def _of(reader: Reader, table: str, row_id: Value) -> Row | None:
    return None if row_id is None else reader.row(table, int(row_id))


def _report(take: Row, pitches: list[Row]) -> TakeReport | None:
    try:
        return kept_report(take, pitches)
    except InputError:
        # Its scale is not among ours.
        return None


def _point(take: Row, report: TakeReport | None) -> Point:
    balance = None if report is None else report.balance
    if balance is None or report is None or report.measurement.reference is None:
        return Point(take=take, height="not known", tilt="not known", height_cents=None, tilt_cents=None)
    own = report.measurement.reference.kind == "low-a"
    return Point(
        take=take,
        height="its own low A" if own else balance.height_cents.text("cents", signed=True),
        tilt=balance.tilt_cents.text("cents", signed=True),
        height_cents=None if own else balance.height_cents.value,
        tilt_cents=balance.tilt_cents.value,
    )


def _strength_line(row: Row) -> StrengthLine:
    told = []
    for moment, name in (
        ("onset", "onset"),
        ("playing", "playing"),
        ("dropout", "drop-out"),
        ("choke", "choke"),
    ):
        kpa = row[f"{moment}_kpa"]
        if kpa is not None:
            told.append(f"{name} {number(kpa_to_inh2o(float(kpa)), 1)} inH2O ({number(float(kpa), 2)} kPa)")
    if row["by_mouth"] is not None:
        told.append(f"by mouth: {row['by_mouth']}")
    playing = row["playing_kpa"]
    return StrengthLine(
        at=str(row["at"]),
        said=", ".join(told),
        inh2o=None if playing is None else round(kpa_to_inh2o(float(playing)), 2),
    )


def remark_reed(
    ledger: Ledger,
    reed_id: int,
    remarks: str | None,
    *,
    player: str | None,
    read: Mapping[str, Value],
    who: str,
) -> None:
    """Change what is remarked of a reed and whose it is; refused where it is not as it was `read`."""
    with ledger.reading() as reader:
        reed = reader.row("reeds", reed_id)
    with ledger.act("remark", who=who, said=f"remarked on reed {reed['number']}") as act:
        told: dict[str, Value] = {"remarks": remarks, "player_id": None}
        if player:
            found = act.find("players", "name", player)
            told["player_id"] = None if found is None else found["id"]
            if found is None:
                raise InputError(field="player", given=repr(player), allowed="name one of the players")
        act.update("reeds", reed_id, told, read={**reed, **read})


def remove_reed(ledger: Ledger, reed_id: int, *, who: str) -> str:
    """Into the bin for thirty days; its number. Refused while takes and readings refer to it."""
    with ledger.reading() as reader:
        reed = reader.row("reeds", reed_id)
    with ledger.act("remove", who=who, said=f"removed reed {reed['number']}") as act:
        act.remove("reeds", number_of(reed, "id"), read=reed)
    return str(reed["number"])


def chart_of(page: ReedPage) -> Mapping[str, list[dict[str, float | str | None]]]:
    """Tilt and strength over time for the chart; the tables beside it hold the same."""
    return {
        "tilt": [{"at": str(p.take["at"]), "value": p.tilt_cents} for p in page.points],
        "height": [{"at": str(p.take["at"]), "value": p.height_cents} for p in page.points],
        "strength": [{"at": one.at, "value": one.inh2o} for one in page.strengths],
    }
