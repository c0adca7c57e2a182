"""What is said of a plan that is late: more minutes only as far as allowed, another reed, or fewer."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from canebench.reeds.breaking_in.advice import LateAdvice, late_advice
from canebench.reeds.breaking_in.chances import StillToPlay
from canebench.reeds.breaking_in.people import PlayerTime, ReedToBreakIn
from canebench.reeds.breaking_in.plan import plan_breaking_in

_NOW = datetime(2031, 5, 20, 9, 0, tzinfo=UTC)
_BY = date(2031, 6, 20)
_ANN = PlayerTime(name="Ann", minutes=(20.0,) * 7, zone="Europe/Dublin", wanted=3)
_REEDS = [
    ReedToBreakIn(number=str(number), still=StillToPlay(median_min=100.0 + 10 * number, log_sd=0.3))
    for number in range(1, 5)
]


def _told(person: PlayerTime, *, new_reed: StillToPlay | None = None) -> LateAdvice:
    plan = plan_breaking_in([person], _REEDS, now=_NOW, settled_by=_BY)
    return late_advice(plan, [person], _REEDS, now=_NOW, new_reed=new_reed)


def test_a_plan_in_time_says_so_and_nothing_else() -> None:
    told = _told(replace(_ANN, minutes=(60.0,) * 7))
    assert not told.late
    assert len(told.said) == 1
    assert told.said[0].startswith("4 of 4 reeds can be settled by 2031-06-20")


def test_a_late_plan_says_how_many_which_not_and_what_can_be_done() -> None:
    told = _told(replace(_ANN, minutes=(16.0,) * 7, ceiling_min=60.0))
    assert told.late
    assert "2 of 4 reeds" in told.said[0]
    assert told.said[1].startswith("Not in time: reeds 3 and 4")
    assert "wants 3 settled by 2031-06-20: 2 in the plan" in told.said[2]
    assert told.said[3].startswith("With more minutes a day (Ann up to 60), 2 more make it")
    assert told.said[-1].startswith("Or fewer: Ann can count on 1 ")


def test_nobody_is_asked_for_more_than_was_set() -> None:
    told = _told(_ANN)
    assert "More minutes a day are not to be had" in " ".join(told.said)
    assert "With more minutes" not in " ".join(told.said)


def test_another_reed_is_thought_of_where_there_are_minutes_for_it() -> None:
    """Two that are slow, room for a quick one."""
    person = replace(_ANN, minutes=(60.0,) * 7, wanted=2)
    slow = [replace(one, still=StillToPlay(median_min=200.0, never=0.15)) for one in _REEDS[:2]]
    plan = plan_breaking_in([person], slow, now=_NOW, settled_by=_BY)
    quick = StillToPlay(median_min=80.0, log_sd=0.2)
    said = " ".join(late_advice(plan, [person], slow, now=_NOW, new_reed=quick).said)
    assert "One more reed, begun now, lifts the chance: Ann from 72% to " in said
    endless = StillToPlay(median_min=900.0)
    said = " ".join(late_advice(plan, [person], slow, now=_NOW, new_reed=endless).said)
    assert "Another new reed would come too late" in said
