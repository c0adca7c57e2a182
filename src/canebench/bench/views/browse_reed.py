"""One reed with all that is known of it, in bounded queries; its remarks changed, itself removed.

Guarded by `tests/web/test_reeds.py`; figures in `benchmarks/pages.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, NotFoundError
from canebench.base.pressure import kpa_to_inh2o
from canebench.base.sentences import seat_said
from canebench.base.uncertain import number
from canebench.bench.acts.ledger import number_of
from canebench.bench.views.kept_take import kept_report
from canebench.bench.views.verdict import verdict_of
from canebench.care.strain import within_ceiling
from canebench.reeds.eases import said as eases_said
from canebench.reeds.states import MOVES, State
from canebench.reeds.strength import MOMENTS
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.views.verdict import Verdict
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.tables import Row, Value

_STORY: Final = 100
_TAKES: Final = 60
_NAMED: Final = {"dropout": "drop-out"}
_MOUTH: Final = {
    "easier": "easier than",
    "same": "the same as",
    "a little stronger": "a little stronger than",
    "much stronger": "much stronger than",
}


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
    """A strength reading in words, who blew, and its playing pressure in inches of water, if it has one."""

    at: str
    who: str
    said: str
    inh2o: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedPage:
    """Everything that the page of one reed shows; `removal` is the act that put it into the bin."""

    reed: Row
    removal: int | None
    lot: Row | None
    player: Row | None
    chanters: list[Row]
    moves: tuple[str, ...]
    minutes: str
    pinches: int
    pinches_said: str
    seat: str
    tape: str
    past_ceiling: list[str]
    report: TakeReport | None
    verdict: Verdict | None
    points: list[Point]
    strengths: list[StrengthLine]
    mouth: str
    story: list[ActRecord]


def reed_page(ledger: Ledger, reed_id: int) -> ReedPage:
    """One reed with its whole story."""
    now = written(ledger.clock())
    with ledger.reading() as reader:
        reed = reader.row("reeds", reed_id)
        of_reed: dict[str, Value] = {"reed_id": reed["id"]}
        takes = reader.rows("takes", of_reed, order="-at", limit=_TAKES)[::-1]
        pitches: dict[Value, list[Row]] = {}
        for row in reader.of_many("pitches", "take_id", [take["id"] for take in takes]):
            pitches.setdefault(row["take_id"], []).append(row)
        reports = [report_of(take, pitches.get(take["id"], [])) for take in takes]
        strengths = reader.rows("strengths", of_reed, order="at")
        pinches = reader.count("eases", {**of_reed, "how": "pinch"})
        used = [take["chanter_id"] for take in takes if take["chanter_id"] is not None]
        story = reader.story("reeds", reed_id, newest=_STORY)[::-1]
        seat, tape = _setting_said(reader, of_reed)
        last = reports[-1] if reports else None
        return ReedPage(
            reed=reed,
            removal=_removal(reed, story),
            lot=_of(reader, "lots", reed["lot_id"]),
            player=_of(reader, "players", reed["player_id"]),
            chanters=reader.of_many("chanters", "id", list(dict.fromkeys(used)), order="name"),
            moves=tuple(state.value for state in MOVES[State(str(reed["state"]))]),
            minutes=number(reader.sums("plays", "minutes", "reed_id", [reed_id]).get(reed_id, 0.0), 0),
            pinches=pinches,
            pinches_said=eases_said(pinches),
            seat=seat,
            tape=tape,
            past_ceiling=_past_ceiling(reader, reed, strengths),
            report=last,
            verdict=None if last is None else verdict_of(last),
            points=[_point(take, report) for take, report in zip(takes, reports, strict=True)],
            strengths=_strength_lines(reader, strengths),
            mouth=_mouth_said(reader, of_reed, now),
            story=story,
        )


def number_in_use(ledger: Ledger, reed_id: int) -> str:
    """The number of a reed that is not in the bin: its number may be another reed's by now."""
    with ledger.reading() as reader:
        reed = reader.row("reeds", reed_id)
    if reed["removed_at"] is not None:
        raise NotFoundError(f"Reed {reed['number']} lies in the bin: undo its removal first.")
    return str(reed["number"])


def _of(reader: Reader, table: str, row_id: Value) -> Row | None:
    return None if row_id is None else reader.row(table, int(row_id))


def _removal(reed: Row, story: list[ActRecord]) -> int | None:
    if reed["removed_at"] is None:
        return None
    return next((act.id for act in story if act.kind == "remove" and act.undone_by is None), None)


def _setting_said(reader: Reader, of_reed: Mapping[str, Value]) -> tuple[str, str]:
    """Seat and tape as they were last written down."""
    settings = reader.rows("settings", of_reed, order="-at", limit=1)
    if not settings:
        return "not written down yet", "not written down yet"
    setting = settings[0]
    taped = [
        f"{tape['hole']} {number(float(tape['covered_mm'] or 0.0), 1)} mm"
        for tape in reader.rows("tapes", {"setting_id": setting["id"]})
        if tape["covered_mm"]
    ]
    return (
        seat_said(float(setting["seat_mm"] or 0.0)),
        ", ".join(taped) or "none",
    )


def _past_ceiling(reader: Reader, reed: Row, strengths: list[Row]) -> list[str]:
    """Where it asks for more than the ceiling of its player, or of who blew it last."""
    read = [row for row in strengths if row["playing_kpa"] is not None or row["onset_kpa"] is not None]
    if not read:
        return []
    kpa = float(read[-1]["playing_kpa"] or read[-1]["onset_kpa"] or 0.0)
    found = []
    for player in {read[-1]["player_id"], reed["player_id"]} - {None}:
        person = _of(reader, "players", player)
        if person is not None and person["ceiling_kpa"] is not None:
            past = within_ceiling(kpa, float(person["ceiling_kpa"]))
            found += [] if past is None else [f"{person['name']}: {past.say}"]
    return sorted(found)


def _mouth_said(reader: Reader, of_reed: Mapping[str, Value], now: str) -> str:
    """Whose mouth it rests from and until when; empty where no one has tested it by mouth."""
    tests = reader.rows("mouth_tests", of_reed, order="-rests_until", limit=1)
    if not tests:
        return ""
    person, until = _of(reader, "players", tests[0]["player_id"]), str(tests[0]["rests_until"])
    name = "someone" if person is None else str(person["name"])
    when = f"{until[:16].replace('T', ' ')} UTC"
    if until > now:
        return f"tested by {name}; rests for other mouths until {when}"
    return f"tested by {name}; its rest ended on {when}"


def report_of(take: Row, pitches: Sequence[Row]) -> TakeReport | None:
    """The report of a kept take; None where it tells nothing here, such as by a scale that is not ours."""
    try:
        return kept_report(take, pitches)
    except InputError:
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
        height_cents=None if own else round(balance.height_cents.value, 2),
        tilt_cents=round(balance.tilt_cents.value, 2),
    )


def _strength_lines(reader: Reader, rows: list[Row]) -> list[StrengthLine]:
    than = reader.of_many("reeds", "id", sorted({r["than_reed_id"] for r in rows if r["than_reed_id"]}))
    blown = reader.of_many("players", "id", sorted({r["player_id"] for r in rows if r["player_id"]}))
    numbers = {row["id"]: str(row["number"]) for row in than}
    names = {row["id"]: str(row["name"]) for row in blown}
    found = []
    for row in rows:
        told = [
            f"{_NAMED.get(moment, moment)} {_pressure_said(float(kpa))}"
            for moment in MOMENTS
            if (kpa := row[f"{moment}_kpa"]) is not None
        ]
        if row["by_mouth"] is not None:
            other = numbers.get(row["than_reed_id"])
            against = "the reed it was compared with" if other is None else f"reed {other}"
            told.append(f"by mouth: {_MOUTH.get(str(row['by_mouth']), row['by_mouth'])} {against}")
        playing = row["playing_kpa"]
        found.append(
            StrengthLine(
                at=str(row["at"]),
                who=names.get(row["player_id"], ""),
                said=", ".join(told),
                inh2o=None if playing is None else round(kpa_to_inh2o(float(playing)), 2),
            )
        )
    return found


def _pressure_said(kpa: float) -> str:
    return f"{number(kpa_to_inh2o(kpa), 1)} inH2O ({number(kpa, 2)} kPa)"


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
