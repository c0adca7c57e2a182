"""Cold pipes warm up first: common practice, no source; for how long is an estimate of ours."""

from __future__ import annotations

from dataclasses import replace

import pytest

from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.fitting.acts import Act
from practice.test_situations import SITUATIONS, _fitting

_BY_NAME = {one.name: one for one in SITUATIONS}
_ACTED_ON = ("octave 20 narrow", "octave 20 wide", "C alone sharp", "C alone flat", "C far flat")


def _after_playing(name: str, minutes: float | None) -> Plan:
    fitting = _fitting(_BY_NAME[name])
    (one,) = fitting.takes
    return plan_setting(replace(fitting, takes=(replace(one, take=replace(one.take, warm_min=minutes)),)))


@pytest.mark.parametrize("name", _ACTED_ON)
@pytest.mark.parametrize("minutes", [0.0, 9.5])
def test_nothing_is_changed_on_a_take_of_cold_pipes(name: str, minutes: float) -> None:
    plan = _after_playing(name, minutes)
    assert plan.next_act.act is Act.WARM_UP
    assert plan.steps == ()
    assert plan.setting == plan.fitting.present


@pytest.mark.parametrize("name", _ACTED_ON)
@pytest.mark.parametrize("minutes", [10.0, 45.0, None])
def test_control_warm_pipes_and_untold_minutes_change_nothing(name: str, minutes: float | None) -> None:
    assert _after_playing(name, minutes).next_act.act in _BY_NAME[name].acts


@pytest.mark.parametrize("name", ["all right", "only the As", "only low G +9"])
def test_what_changes_nothing_is_said_on_cold_pipes_too(name: str) -> None:
    assert _after_playing(name, 0.0).next_act.act in _BY_NAME[name].acts


def test_it_says_how_long() -> None:
    say = _after_playing("octave 20 narrow", 2.0).next_act
    assert "10 minutes" in say.say
    assert "2 minutes only" in say.why
    assert "not been played" in _after_playing("octave 20 narrow", 0.0).next_act.why
