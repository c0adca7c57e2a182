"""Plans as a piper would judge them. Common practice, no source, but for the simulated chanters."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.bench.fitting import Fitting, FittingTake
from canebench.bench.plan_setting import Plan, plan_setting
from canebench.bore.calibrate import Take
from canebench.bore.instrument import pitches_hz
from canebench.fitting.acts import Act
from canebench.fitting.limits import Limits
from support.true_chanters import UNKNOWNS, true_chanter

_SEEDS = range(7000, 7008)


def _fitting(
    hz: np.ndarray,
    setting: Setting | None = None,
    *,
    limits: Limits | None = None,
    reference_hz: float | None = None,
) -> Fitting:
    take = Take(setting=setting or Setting(), hz=hz, sd_cents=np.full(len(NOTES), 0.5))
    return Fitting(
        takes=(FittingTake(origin="simulated", take=take),),
        limits=limits or Limits(),
        reference_hz=reference_hz,
    )


@cache
def _plan(seed: int) -> Plan:
    return plan_setting(_fitting(true_chanter(np.random.default_rng(seed)).hz([Setting()])[0]))


def _generic_hz(setting: Setting) -> np.ndarray:
    return np.asarray(pitches_hz(UNKNOWNS.instrument(np.zeros(len(UNKNOWNS.names))), [setting])[0])


@pytest.mark.parametrize("seed", _SEEDS)
def test_a_plan_stays_within_its_limits(seed: int) -> None:
    plan = _plan(seed)
    limits, chanter = plan.fitting.limits, plan.knowledge.instrument.chanter
    for option in plan.options:
        steps = option.setting.seat_mm / limits.step_mm
        assert steps == pytest.approx(round(steps))
        assert -limits.higher_mm <= option.setting.seat_mm <= min(limits.deeper_mm, chanter.seat.gap_mm)
        assert option.strips <= limits.most_strips
        for hole, covered in option.setting.tape_mm.items():
            assert covered <= limits.tape_share * chanter.hole(hole).diameter_mm + 0.051
        assert option.setting.pinches == 0


@pytest.mark.parametrize("seed", _SEEDS)
def test_the_last_act_is_predicted_to_give_what_was_chosen(seed: int) -> None:
    plan = _plan(seed)
    beam = plan.steps[-1].beam if plan.steps else plan.now
    for note, cents in plan.chosen.cents.items():
        assert beam[note].cents == pytest.approx(cents, abs=0.3)


@pytest.mark.parametrize("seed", _SEEDS)
def test_every_act_says_what_why_how_to_check_and_when_to_stop(seed: int) -> None:
    for step in _plan(seed).steps:
        for words in (step.act.say, step.act.why, step.act.check, step.act.stop):
            assert words.endswith(".")
            assert len(words) > 15
        assert "blow harder" not in step.act.say.lower()


def test_a_reed_flat_of_a_fixed_pitch_goes_deeper_and_a_sharp_one_up() -> None:
    hz = _generic_hz(Setting())
    for reference_hz, wanted in ((484.0, Act.SEAT_DEEPER), (477.0, Act.RAISE_WITH_HEMP)):
        plan = plan_setting(_fitting(hz, reference_hz=reference_hz))
        assert next(step.act.act for step in plan.steps) is wanted


def test_one_sharp_note_is_taped_on_its_own_hole() -> None:
    hz = _generic_hz(Setting())
    hz[NOTES.index("D")] *= 2 ** (9 / 1200)
    plan = plan_setting(_fitting(hz))
    assert set(plan.chosen.setting.tape_mm) == {"D"}
    assert plan.verdict is None


def test_where_all_is_in_tune_nothing_is_to_be_done() -> None:
    plan = plan_setting(_fitting(_generic_hz(Setting())))
    assert plan.steps == ()
    assert plan.out_of_reach == {}


def test_a_note_out_of_reach_is_named_with_its_cents_and_the_reed_set_aside() -> None:
    hz = _generic_hz(Setting())
    hz[NOTES.index("F")] *= 2 ** (-40 / 1200)
    plan = plan_setting(_fitting(hz))
    assert "F" in plan.out_of_reach
    assert plan.verdict is not None
    assert plan.verdict.act is Act.SET_ASIDE
    assert "F" in plan.verdict.why
    assert "cents flat" in plan.verdict.why


def test_no_pinch_unless_one_is_left() -> None:
    true = true_chanter(np.random.default_rng(7100))
    hz = true.hz([Setting()])[0]
    hz[NOTES.index(HIGH_A)] *= 2 ** (-25 / 1200)
    without = plan_setting(_fitting(hz, limits=Limits(deeper_mm=0.0)))
    assert without.chosen.setting.pinches == 0
    allowed = plan_setting(_fitting(hz, limits=Limits(deeper_mm=0.0, pinches_left=1)))
    pinches = [step for step in allowed.steps if step.act.act is Act.PINCH]
    assert len(pinches) <= 1
    for step in pinches:
        assert any("life" in caution for caution in step.act.cautions)


def test_a_new_reed_is_judged_without_tape() -> None:
    taped = Setting(tape_mm={"E": 2.0})
    plan = plan_setting(_fitting(_generic_hz(taped), taped))
    assert plan.steps[0].act.act is Act.TAPE_OFF
    assert plan.steps[0].setting.tape_mm == {}


def test_moves_of_the_seat_are_small() -> None:
    plan = plan_setting(_fitting(_generic_hz(Setting(seat_mm=-1.5))))
    seat = next(step.act for step in plan.steps if step.act.act is Act.SEAT_DEEPER)
    assert "at most 0.5 mm" in seat.say
    assert "hemp off" in seat.say
    raised = plan_setting(_fitting(_generic_hz(Setting(seat_mm=1.0))))
    assert "3 to 4 inches" in raised.steps[0].act.say


def test_a_scale_without_the_posts_cannot_be_planned() -> None:
    hz = _generic_hz(Setting())
    hz[NOTES.index(LOW_A)] = np.nan
    with pytest.raises(InputError, match="low A and high A"):
        plan_setting(_fitting(hz))
    with pytest.raises(InputError, match="one take at least"):
        plan_setting(replace(_fitting(hz), takes=()))
