"""No plan goes above anyone's minutes or the ladder, nor into a rest; whatever is asked for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canebench.reeds.breaking_in.chances import StillToPlay, at_least
from canebench.reeds.breaking_in.ladder import Ladder
from canebench.reeds.breaking_in.people import MouthBefore, PlayerTime, ReedToBreakIn
from canebench.reeds.breaking_in.plan import plan_breaking_in, to_begin
from support.break_in_rules import broken

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.reeds.breaking_in.planned import BreakInPlan, BreakInSession

#: A fortnight around a change of the clocks, in both directions; and one without.
_NOWS = (
    datetime(2031, 3, 24, 9, 0, tzinfo=UTC),
    datetime(2031, 10, 20, 19, 30, tzinfo=UTC),
    datetime(2031, 6, 1, 6, 0, tzinfo=UTC),
)
_NAMES = ("Ann", "Bea", "Cay")
_ZONES = ("Europe/Dublin", "America/Halifax", "Australia/Lord_Howe", "Asia/Kathmandu")


@st.composite
def _people(draw: st.DrawFn) -> list[PlayerTime]:
    found = []
    for name in _NAMES[: draw(st.integers(1, 3))]:
        week = draw(st.lists(st.sampled_from([0.0, 7.5, 10.0, 20.0, 30.0]), min_size=7, max_size=7))
        found.append(
            PlayerTime(
                name=name,
                minutes=tuple(week),
                zone=draw(st.sampled_from(_ZONES)),
                sessions_a_day=draw(st.integers(1, 3)),
                wanted=(wanted := draw(st.integers(0, 2))),
                reeds=draw(st.none() | st.integers(wanted, 4)),
                away=frozenset({date(2031, 3, 28), date(2031, 10, 25)}),
            )
        )
    return found


@st.composite
def _asked(
    draw: st.DrawFn,
) -> tuple[list[PlayerTime], list[ReedToBreakIn], datetime, date, Ladder]:
    people, now = draw(_people()), draw(st.sampled_from(_NOWS))
    names = st.none() | st.sampled_from([one.name for one in people])
    hours = st.integers(-100, 200).map(lambda h: now + timedelta(hours=h))
    reeds = [
        ReedToBreakIn(
            number=str(number),
            still=StillToPlay(
                median_min=draw(st.floats(1, 150)),
                log_sd=draw(st.floats(0, 1)),
                never=draw(st.sampled_from([0.0, 0.1, 0.3])),
            ),
            had=draw(st.integers(0, 4)),
            player=draw(names),
            mouths=tuple(
                MouthBefore(player=who, until=draw(hours))
                for who in draw(st.lists(st.sampled_from(_NAMES), max_size=2))
            ),
            played_until=draw(st.none() | hours.filter(lambda at: at <= now)),
        )
        for number in range(draw(st.integers(0, 6)))
    ]
    rungs = sorted(draw(st.lists(st.sampled_from([5.0, 6.0, 10.0, 15.0, 20.0]), min_size=1, max_size=6)))
    ladder = Ladder(minutes=tuple(rungs), rest_h=draw(st.sampled_from([0.0, 12.0, 22.5, 23.5, 40.0])))
    return people, reeds, now, now.date() + timedelta(days=draw(st.integers(1, 20))), ladder


@settings(max_examples=150, deadline=None)
@given(_asked())
def test_no_plan_breaks_a_rule(
    asked: tuple[list[PlayerTime], list[ReedToBreakIn], datetime, date, Ladder],
) -> None:
    people, reeds, now, settled_by, ladder = asked
    plan = plan_breaking_in(people, reeds, now=now, settled_by=settled_by, ladder=ladder)
    assert broken(plan, people, reeds, ladder=ladder, now=now) == []
    assert plan == plan_breaking_in(people, reeds, now=now, settled_by=settled_by, ladder=ladder)
    for planned in plan.reeds:
        if planned.sessions:
            assert planned.latest_start is not None
            assert planned.sessions[0].starts.date() <= planned.latest_start < settled_by


_PERSON = PlayerTime(name="Ann", minutes=(20.0,) * 7, zone="Europe/Dublin", sessions_a_day=2, reeds=2)
_LADDER = Ladder(minutes=(5, 10), rest_h=20.0)
_REEDS = [
    ReedToBreakIn(
        number=number,
        still=StillToPlay(median_min=22.0),
        mouths=(MouthBefore(player="Bea", until=datetime(2031, 6, 3, 12, 0, tzinfo=UTC)),),
        played_until=datetime(2031, 6, 1, 5, 0, tzinfo=UTC),
    )
    for number in ("1", "2")
]


def _plan() -> BreakInPlan:
    return plan_breaking_in([_PERSON], _REEDS, now=_NOWS[2], settled_by=date(2031, 6, 12), ladder=_LADDER)


def _moved(change: Callable[[BreakInSession], BreakInSession]) -> BreakInPlan:
    plan = _plan()
    first = plan.reeds[0]
    sessions = (change(first.sessions[0]), *first.sessions[1:])
    return replace(plan, reeds=(replace(first, sessions=sessions), *plan.reeds[1:]))


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("above the ladder", lambda one: replace(one, minutes=6.0)),
        ("above a player's minutes", lambda one: replace(one, minutes=16.0)),
        ("within another mouth's rest", lambda one: replace(one, starts=one.starts - timedelta(days=1))),
        ("two mouths", lambda one: replace(one, player="Bea")),
        ("not rested", lambda one: replace(one, starts=one.starts + timedelta(hours=5))),
        ("two reeds at once", lambda one: replace(one, starts=one.starts + timedelta(minutes=9))),
        ("in the past", lambda one: replace(one, starts=_NOWS[2] - timedelta(days=1))),
        ("not before the date", lambda one: replace(one, starts=one.starts + timedelta(days=30))),
        ("not sure enough", lambda one: replace(one, minutes=1.0)),
    ],
)
def test_control_a_broken_rule_is_seen(rule: str, change: Callable[[BreakInSession], BreakInSession]) -> None:
    plan = _plan()
    assert len(plan.reeds) == 2
    assert broken(plan, [_PERSON], _REEDS, ladder=_LADDER, now=_NOWS[2]) == []
    assert rule in broken(_moved(change), [_PERSON], _REEDS, ladder=_LADDER, now=_NOWS[2])


def test_no_more_are_begun_than_the_wanted_ones_ask_for() -> None:
    """Three wanted, each with four chances in five: four are begun, and the others are spares."""
    person = replace(_PERSON, reeds=None, wanted=3, sessions_a_day=3, minutes=(40.0,) * 7)
    reeds = [
        replace(_REEDS[0], number=str(number), still=StillToPlay(median_min=20.0, log_sd=0.3))
        for number in range(8)
    ]
    plan = plan_breaking_in([person], reeds, now=_NOWS[2], settled_by=date(2031, 7, 12), ladder=_LADDER)
    assert len(plan.reeds) == to_begin(3, 0.8, sure=0.8, most=8) == 4
    assert plan.gap == 0
    assert {one.late for one in plan.left_out} == {False}
    assert plan.outlook[0].chance == at_least(3, [one.chance for one in plan.reeds]) >= 0.8


def test_the_latest_start_is_the_last_that_will_do() -> None:
    """A reed alone: begun on its latest day it makes it, a day later it does not."""
    reed = replace(_REEDS[0], mouths=(), played_until=None)
    by = date(2031, 6, 12)
    plan = plan_breaking_in([_PERSON], [reed], now=_NOWS[2], settled_by=by, ladder=_LADDER)
    latest = plan.reeds[0].latest_start
    assert latest == date(2031, 6, 9)
    for day, made in ((latest, 1), (latest + timedelta(days=1), 0)):
        now = datetime(day.year, day.month, day.day, 6, 0, tzinfo=UTC)
        again = plan_breaking_in([_PERSON], [reed], now=now, settled_by=by, ladder=_LADDER)
        assert len(again.reeds) == made
