"""One reed with all that is known of it, in bounded queries; its remarks changed, itself removed.

Guarded by `tests/web/test_reeds.py`; figures in `benchmarks/pages.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import time_said
from canebench.base.errors import InputError, NotFoundError
from canebench.base.pressure import kpa_to_inh2o, pressure_said
from canebench.base.sentences import seat_said
from canebench.base.uncertain import number
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.acts.reeds.choose_reeds import pitches_of
from canebench.bench.acts.reeds.reed_days import spells_said
from canebench.bench.views.kept_take import kept_report
from canebench.bench.views.reed_story import ReedStory, reed_story
from canebench.bench.views.verdict import verdict_of
from canebench.care.strain import within_ceiling
from canebench.reeds.states import MOVES, NOT_OFFERED, State
from canebench.store.records import ChanterRecord, PlayerRecord, ReedRecord, TapeRecord
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.views.verdict import Verdict
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.records import PitchRecord, SettingRecord, StrengthRecord, TakeRecord
    from canebench.store.tables import Value

_STORY: Final = 100
_MOST_SAID: Final = 300
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

    take: TakeRecord
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
    """What the page of a reed shows beside what is `known`; `removal` is the act that put it into the bin.

    `offered` is False for one that is set aside or retired: no way leads from there to a fitting.
    """

    known: ReedStory
    removal: int | None
    player: PlayerRecord | None
    chanters: list[ChanterRecord]
    moves: tuple[str, ...]
    offered: bool
    minutes: str
    spells: str
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
    """One reed with its story."""
    with ledger.reading() as reader:
        reed = reader.row(ReedRecord, reed_id)
        known = reed_story(reader, reed, takes=_TAKES, acts=_STORY)
        pitches = pitches_of(reader, known.takes)
        reports = [report_of(take, pitches[take.id]) for take in known.takes]
        used = {take.chanter_id for take in known.takes if take.chanter_id is not None}
        setting = known.settings[-1] if known.settings else None
        seat, tape = _setting_said(reader, setting)
        last = reports[-1] if reports else None
        story = known.acts[::-1]
        return ReedPage(
            known=known,
            removal=_removal(reed, story),
            player=None if reed.player_id is None else reader.row(PlayerRecord, reed.player_id),
            chanters=reader.of_many(ChanterRecord, "id", used, order="name"),
            moves=tuple(state.value for state in MOVES[State(reed.state)]),
            offered=reed.state not in NOT_OFFERED,
            minutes=number(known.minutes, 0),
            spells=spells_said(known.spells),
            seat=seat,
            tape=tape,
            past_ceiling=_past_ceiling(reader, reed, known.strengths),
            report=last,
            verdict=None if last is None else verdict_of(last),
            points=[_point(take, report) for take, report in zip(known.takes, reports, strict=True)],
            strengths=_strength_lines(reader, known),
            mouth=_mouth_said(reader, known, written(ledger.clock())),
            story=story,
        )


def number_in_use(ledger: Ledger, reed_id: int) -> str:
    """The number of a reed that is not in the bin: its number may be another reed's by now."""
    with ledger.reading() as reader:
        reed = reader.row(ReedRecord, reed_id)
    if reed.removed_at is not None:
        raise NotFoundError(f"Reed {reed.number} lies in the bin: undo its removal first.")
    return reed.number


def _removal(reed: ReedRecord, story: list[ActRecord]) -> int | None:
    if reed.removed_at is None:
        return None
    return next((act.id for act in story if act.kind == "remove" and act.undone_by is None), None)


def _setting_said(reader: Reader, setting: SettingRecord | None) -> tuple[str, str]:
    """Seat and tape as they were last written down."""
    if setting is None:
        return "not written down yet", "not written down yet"
    taped = [
        f"{tape.hole} {number(tape.covered_mm, 1)} mm"
        for tape in reader.rows(TapeRecord, {"setting_id": setting.id})
        if tape.covered_mm > 0
    ]
    return seat_said(setting.seat_mm), ", ".join(taped) or "none"


def _past_ceiling(reader: Reader, reed: ReedRecord, strengths: list[StrengthRecord]) -> list[str]:
    """Where it asks for more than the ceiling of its player, or of who blew it last."""
    for row in reversed(strengths):
        kpa = row.onset_kpa if row.playing_kpa is None else row.playing_kpa
        if kpa is None:
            continue
        found = []
        for player_id in {row.player_id, reed.player_id}:
            if player_id is None:
                continue
            person = reader.row(PlayerRecord, player_id)
            if person.ceiling_kpa is not None:
                past = within_ceiling(kpa, person.ceiling_kpa)
                found += [] if past is None else [f"{person.name}: {past.say}"]
        return sorted(found)
    return []


def _mouth_said(reader: Reader, known: ReedStory, now: str) -> str:
    """Whose mouth it rests from and until when; empty where no one has tested it by mouth."""
    if not known.mouth_tests:
        return ""
    last = max(known.mouth_tests, key=lambda test: (test.rests_until, test.id))
    name, until = reader.row(PlayerRecord, last.player_id).name, last.rests_until
    when = time_said(until, zone_of(reader))
    if until > now:
        return f"tested by {name}; rests for other mouths until {when}"
    return f"tested by {name}; its rest ended on {when}"


def report_of(take: TakeRecord, pitches: Sequence[PitchRecord]) -> TakeReport | None:
    """The report of a kept take; None where it tells nothing here, such as by a scale that is not ours."""
    try:
        return kept_report(take, pitches)
    except InputError:
        return None


def _point(take: TakeRecord, report: TakeReport | None) -> Point:
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


def _strength_lines(reader: Reader, known: ReedStory) -> list[StrengthLine]:
    rows, unit = known.strengths, unit_of(reader)
    than = reader.by_id(ReedRecord, (row.than_reed_id for row in rows))
    blown = reader.by_id(PlayerRecord, (row.player_id for row in rows))
    found = []
    for row in rows:
        told = [
            f"{_NAMED.get(moment, moment)} {pressure_said(kpa, unit)}"
            for moment, (kpa, _) in row.pressures_kpa.items()
        ]
        if row.by_mouth is not None:
            other = than.get(row.than_reed_id)
            against = "the reed it was compared with" if other is None else f"reed {other.number}"
            told.append(f"by mouth: {_MOUTH[row.by_mouth]} {against}")
        before = known.before(row.at)
        told += [] if before is None else [before]
        playing = row.playing_kpa
        found.append(
            StrengthLine(
                at=row.at,
                who=blown[row.player_id].name if row.player_id in blown else "",
                said=", ".join(told),
                inh2o=None if playing is None else round(kpa_to_inh2o(playing), 2),
            )
        )
    return found


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
        reed = reader.row(ReedRecord, reed_id)
    said = f"remarked on reed {reed.number}" + (f": {remarks}" if remarks and remarks != reed.remarks else "")
    with ledger.act("remark", who=who, said=said[:_MOST_SAID]) as act:
        told: dict[str, Value] = {"remarks": remarks, "player_id": None}
        if player:
            found = act.find(PlayerRecord, "name", player)
            told["player_id"] = None if found is None else found.id
            if found is None:
                raise InputError(field="player", given=repr(player), allowed="name one of the players")
        act.update(reed.as_read(read), told)


def remove_reed(ledger: Ledger, reed_id: int, *, who: str) -> str:
    """Into the bin for thirty days; its number. Refused while takes and readings refer to it."""
    with ledger.reading() as reader:
        reed = reader.row(ReedRecord, reed_id)
    with ledger.act("remove", who=who, said=f"removed reed {reed.number}") as act:
        act.remove(reed)
    return reed.number


def chart_of(page: ReedPage) -> Mapping[str, list[dict[str, float | str | None]]]:
    """Tilt and strength over time for the chart; the tables beside it hold the same."""
    return {
        "tilt": [{"at": p.take.at, "value": p.tilt_cents} for p in page.points],
        "height": [{"at": p.take.at, "value": p.height_cents} for p in page.points],
        "strength": [{"at": one.at, "value": one.inh2o} for one in page.strengths],
    }
