"""Who breaks in which reed when, from the ledger: reeds not settled, their forecasts, players and mouths.

Guarded by `tests/doors/test_calendar_command.py` and `tests/web/test_calendar.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import groupby
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.errors import InputError
from canebench.base.parsing import moment_from
from canebench.base.sizes import MINUS, Range, check_count
from canebench.base.whole_file import write_whole
from canebench.bench.acts.band import rule_of, zone_of
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.mouths import mouth_tests
from canebench.bench.views.ahead.histories import bench_around, known_by
from canebench.care.quarantine import MouthTest, rests_until
from canebench.reeds.breaking_in.advice import LateAdvice, late_advice
from canebench.reeds.breaking_in.calendar_file import calendar_bytes
from canebench.reeds.breaking_in.chances import StillToPlay
from canebench.reeds.breaking_in.ladder import USUAL_LADDER, Ladder
from canebench.reeds.breaking_in.people import MouthBefore, PlayerTime, ReedToBreakIn
from canebench.reeds.breaking_in.plan import check_reeds, plan_breaking_in
from canebench.reeds.forecasts.forecast import forecasts
from canebench.reeds.states import IN_WORK
from canebench.store.records import PlayerRecord, ReedRecord

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import tzinfo
    from pathlib import Path

    from canebench.reeds.breaking_in.planned import BreakInPlan, BreakInSession, PlannedReed
    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.history import ReedHistory
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: What a player has for breaking in on a day where nobody says, min: an estimate of ours.
USUAL_MIN: Final = 20.0
#: When they begin unless told.
USUAL_STARTS: Final = time(18, 0)
_SESSION_MIN: Final = 10.0
_MINUTES: Final = Range(
    low=1.0, high=240.0, usual=USUAL_MIN, unit="min", slips=(MINUS, (60.0, "if that was hours"))
)


class NothingToPlanError(InputError):
    """The ledger lacks what a plan is made of; `lacks` says what."""

    lacks: Literal["reeds", "players", "zone"]

    def __init__(
        self,
        lacks: Literal["reeds", "players", "zone"],
        *,
        field: str,
        given: str,
        allowed: str,
        nearest: str | None = None,
    ) -> None:
        super().__init__(field=field, given=given, allowed=allowed, nearest=nearest)
        self.lacks = lacks


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked for.

    Attributes
    ----------
    by : date
        When the reeds shall be settled.
    need : int or None
        How many settled reeds are needed of these; None for as many as it gives.
    minutes : float
        What each player has on a day.
    starts : time
        When they begin, on the clock of the band's zone.
    players : tuple of str
        Who breaks in; empty for all whose reed one is, or all where none is anybody's.
    reeds : tuple of str
        Which; empty for all that are new, on trial or being broken in.
    ladder : Ladder
        How long a reed's sessions are, and its rest after each.
    """

    by: date
    need: int | None = None
    minutes: float = USUAL_MIN
    starts: time = USUAL_STARTS
    players: tuple[str, ...] = ()
    reeds: tuple[str, ...] = ()
    ladder: Ladder = USUAL_LADDER


@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    """The plan, what to do where it is too late for some, and its sessions by day.

    `settled` of the reeds asked for need nothing more; `ids` leads from a reed's number to its row.
    """

    wanted: Wanted
    plan: BreakInPlan
    late: LateAdvice
    days: Mapping[date, tuple[BreakInSession, ...]]
    settled: tuple[str, ...]
    ids: Mapping[str, int]
    made: datetime

    @property
    def by_number(self) -> list[PlannedReed]:
        """The reeds that make it: 2 before 10."""
        return sorted(self.plan.reeds, key=lambda one: (len(one.reed), one.reed))

    @property
    def chances(self) -> tuple[float, ...]:
        """Of each reed that makes it, each for itself; one that has settled is sure."""
        return (*(1.0 for _ in self.settled), *(one.chance for one in self.plan.reeds))


def calendar(ledger: Ledger, wanted: Wanted) -> Calendar:
    """Who plays which reed when, so that as many as possible are settled by a date."""
    _MINUTES.check("minutes a day", wanted.minutes)
    with ledger.reading() as reader:
        zone = zone_of(reader)
        now = ledger.clock().astimezone(zone)
        reeds = _reeds(reader, wanted.reeds)
        # Before their forecasts, which would take minutes.
        check_reeds(len(reeds))
        if wanted.need is not None:
            check_count("settled reeds needed", wanted.need, 1, len(reeds))
        bench = bench_around(reader, None, [reed.id for reed in reeds])
        people = _people(reader, reeds, wanted.players)
        mouths = mouth_tests(reader, {reed.id: reed.number for reed in reeds})
        place, rule = _zone_name(zone, now), rule_of(reader)
    known = known_by(bench, now)
    found = forecasts(
        [known.lives[reed.id] for reed in reeds], now=now, population=known.population, rule=rule
    )
    todo = [
        _to_break_in(reed, known.lives[reed.id], forecast, people, mouths.get(reed.id, []))
        for reed, forecast in zip(reeds, found, strict=True)
        if not forecast.settling.settled
    ]
    players = [
        PlayerTime(
            name=person.name,
            minutes=(wanted.minutes,) * 7,
            zone=place,
            starts=wanted.starts,
            # What twice as much would give is told where it is late, and not planned.
            ceiling_min=min(2.0 * wanted.minutes, _MINUTES.high),
        )
        for person in people
    ]
    plan = plan_breaking_in(players, todo, now=now, settled_by=wanted.by, ladder=wanted.ladder)
    sessions = sorted(
        (one for reed in plan.reeds for one in reed.sessions), key=lambda one: (one.starts, one.player)
    )
    days = {day: tuple(those) for day, those in groupby(sessions, key=lambda one: one.starts.date())}
    waiting = {one.number for one in todo}
    return Calendar(
        wanted=wanted,
        plan=plan,
        late=late_advice(plan, players, todo, now=now, ladder=wanted.ladder),
        days=days,
        settled=tuple(reed.number for reed in reeds if reed.number not in waiting),
        ids={reed.number: reed.id for reed in reeds if reed.id is not None},
        made=now,
    )


def _reeds(reader: Reader, numbers: Sequence[str]) -> list[ReedRecord]:
    if numbers:
        return [reed_numbered(reader, number) for number in dict.fromkeys(numbers)]
    found = [
        reed for state in IN_WORK for reed in reader.rows(ReedRecord, {"state": state.value}, order="#number")
    ]
    if not found:
        raise NothingToPlanError(
            "reeds",
            field="reeds to break in",
            given="none",
            allowed="a reed that is new, on trial or being broken in is needed, or name some",
        )
    return found


def _people(reader: Reader, reeds: Sequence[ReedRecord], names: Sequence[str]) -> list[PlayerRecord]:
    if names:
        return [named(reader, PlayerRecord, name) for name in dict.fromkeys(names)]
    owners = reader.by_id(PlayerRecord, (reed.player_id for reed in reeds))
    found = list(owners.values()) or reader.rows(PlayerRecord, order="name")
    if not found:
        raise NothingToPlanError(
            "players",
            field="players",
            given="none",
            allowed="who breaks the reeds in is needed: canebench player NAME",
        )
    return sorted(found, key=lambda one: one.name)


def _zone_name(zone: tzinfo | None, now: datetime) -> str:
    """The band's zone: a session is told by the clock there, whatever night the clocks change in."""
    if zone is not None:
        return str(zone)
    if now.utcoffset():
        raise NothingToPlanError(
            "zone",
            field="time zone",
            given="none settled",
            allowed="a calendar needs the name of the band's zone: canebench settings --zone NAME",
            nearest="Europe/London",
        )
    return "UTC"


def _to_break_in(
    reed: ReedRecord,
    life: ReedHistory,
    forecast: ReedForecast,
    people: Sequence[PlayerRecord],
    mouths: Sequence[MouthTest],
) -> ReedToBreakIn:
    owner = next((one.name for one in people if one.id == reed.player_id), None)
    played = max((one.at for one in life.played), default=None)
    return ReedToBreakIn(
        number=reed.number,
        still=_still(forecast),
        had=len(life.played),
        player=owner,
        mouths=tuple(MouthBefore(player=one.player, until=one.until or rests_until(one)) for one in mouths),
        played_until=played,
    )


def _still(forecast: ReedForecast) -> StillToPlay:
    """Of a reed that may have settled one session tells: nothing shorter is planned."""
    later = (one for one in forecast.settling.curve if one[0] >= _SESSION_MIN)
    return StillToPlay(curve=((0.0, 0.0), *later))


def day_from(text: str, field: str, *, nearest: str) -> date:
    """The day that was typed; what is none is an `InputError`."""
    return moment_from(date.fromisoformat, text, field, allowed="a date is needed", nearest=nearest)


def starts_from(text: str, field: str) -> time:
    """The time of day that was typed; what is none is an `InputError`."""
    near = f"{USUAL_STARTS:%H:%M}"
    return moment_from(time.fromisoformat, text, field, allowed="a time of day is needed", nearest=near)


def ics_of(found: Calendar) -> bytes:
    """The sessions as a calendar file; a later one of the same ledger moves its events.

    The revision counts minutes, so that every file made later counts as newer.
    """
    sessions = [one for day in found.days.values() for one in day]
    return calendar_bytes(
        sessions, plan="breaking in", made=found.made, revision=int(found.made.timestamp() // 60)
    )


def write_ics(found: Calendar, path: Path) -> None:
    """The same as a file."""
    write_whole(path, ics_of(found), field="calendar file")


def reeds_to_plan(ledger: Ledger, wanted: Wanted) -> int:
    """How many reeds a plan would be for, an error for too many: what it takes goes with them."""
    if wanted.reeds:
        return len(wanted.reeds)
    with ledger.reading() as reader:
        count = sum(reader.count(ReedRecord, {"state": state.value}) for state in IN_WORK)
    check_reeds(count)
    return count
