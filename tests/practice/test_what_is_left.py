"""What is said where notes are out and nothing is changed: never that they are right.

Common practice, no source: what is flat is played in, what is sharp and cannot be taped is left.
"""

from __future__ import annotations

import numpy as np
import pytest

from canebench.base.notes import LOW_G, NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.fitting.acts import Act
from canebench.fitting.balance import Deviation
from canebench.fitting.limits import Limits
from canebench.fitting.rule_bounds import tape_alone
from canebench.fitting.sizing import Allowed
from canebench.fitting.take import Take
from canebench.fitting.tolerance import TOLERANCE_CENTS
from canebench.fitting.verdicts import NOTHING_GAINED, notes_off, what_is_left

_FIXED_HZ = 478.0
_RATIOS = np.array([DEFAULT_SCALE.ratios[note] for note in NOTES])


def _beam(sd: float = 0.5, **cents: float) -> dict[str, Deviation]:
    return {
        note: Deviation(
            cents=cents.get(note.replace(" ", "_"), 0.0),
            sd_cents=sd,
            interval_cents=DEFAULT_SCALE.cents(note),
        )
        for note in NOTES
    }


def _left(
    beam: dict[str, Deviation], moved: tuple[float, dict[str, Deviation]] | None = None
) -> tuple[Act, str]:
    off = notes_off(beam, TOLERANCE_CENTS, 0.9)
    act = what_is_left(off, beam, moved=moved, tolerance_cents=TOLERANCE_CENTS)
    return act.act, act.why


def test_where_nothing_is_surely_out_it_is_one_breath() -> None:
    assert _left(_beam()) == (Act.LEAVE, NOTHING_GAINED)
    # Far out, but so unsure that it may as well be right; the control: the same surely out.
    assert _left(_beam(sd=30.0, E=9.0)) == (Act.LEAVE, NOTHING_GAINED)
    assert _left(_beam(E=9.0))[1] != NOTHING_GAINED


def test_a_flat_note_is_played_in_and_named() -> None:
    act, why = _left(_beam(D=-8.0, B=-7.0))
    assert act is Act.BREAK_IN
    assert "B −7 cents and D −8 cents" in why
    assert "No move of the seat and no strip" in why
    # Not where another is sharp: playing brings up that one as well.
    act, why = _left(_beam(D=-8.0, E=9.0))
    assert act is Act.LEAVE
    assert "D −8 cents and E +9 cents" in why


def test_the_flattest_is_the_one_to_look_at_again() -> None:
    beam = _beam(D=-8.0, B=-12.0)
    off = notes_off(beam, TOLERANCE_CENTS, 0.9)
    told = what_is_left(off, beam, moved=None, tolerance_cents=TOLERANCE_CENTS)
    assert told.check.startswith("B again")


def test_low_g_alone_is_nothing_to_mend() -> None:
    assert notes_off(_beam(low_G=30.0), TOLERANCE_CENTS, 0.9) == set()
    assert notes_off(_beam(B=30.0), TOLERANCE_CENTS, 0.9) == {"B"}


def test_what_a_move_would_cost_is_named() -> None:
    now = _beam(high_A=8.0, B=-3.0, low_G=-9.0)
    why = _left(now, (-0.5, _beam(high_A=3.0, B=-7.0, C=-5.5, low_G=-20.0)))[1]
    assert "A seat 0.5 mm higher would leave high A +3 cents" in why
    assert "B −7 cents" in why
    assert LOW_G not in why
    # Nor is a note named that stays within tolerance, or one that comes nearer.
    why = _left(_beam(high_A=8.0, B=-9.0), (0.5, _beam(high_A=9.0, B=-7.0, C=0.5)))[1]
    assert "No move of the seat" in why
    assert "0.5 mm deeper" in _left(now, (0.5, _beam(high_A=9.0, C=9.0)))[1]


@pytest.mark.parametrize(
    ("after", "worse"),
    [({"C": 5.0}, None), ({"C": 5.1}, "C +5 cents"), ({"B": -5.3}, None), ({"B": -5.4}, "B −5 cents")],
)
def test_a_note_is_worse_beyond_its_tolerance_and_further_out_than_now(
    after: dict[str, float], worse: str | None
) -> None:
    """Within 5 cents C is right; B may be 5.3 out by now, and is no worse where it stays."""
    why = _left(_beam(high_A=8.0, B=-5.3), (-0.5, _beam(high_A=3.0, **after)))[1]
    assert ("No move of the seat" in why) is (worse is None)
    assert worse is None or f"and put {worse}: nothing gained" in why


def _plan(cents: list[float]) -> Plan:
    """Heard twice as far out, on a chanter without any travel of the seat, and no strip allowed."""
    hz = _FIXED_HZ * _RATIOS * 2.0 ** (np.array(cents) / 1200.0)
    take = FittingTake(
        origin="a test", take=Take(setting=Setting(), hz=hz, sd_cents=np.full(len(NOTES), 0.5))
    )
    limits = Limits(deeper_mm=0.0, higher_mm=0.0, most_strips=0)
    return plan_setting(Fitting(reference_hz=_FIXED_HZ, limits=limits).with_take(take).with_take(take))


@pytest.mark.parametrize("sharp", [9.0, 12.0])
def test_a_plan_that_can_do_nothing_never_calls_it_a_breath(sharp: float) -> None:
    plan = _plan([0.0, 0.0, 0.0, 0.0, 0.0, sharp, 0.0, 0.0, 0.0])
    assert plan.steps == ()
    assert "one breath" not in plan.next_act.why
    assert "E +" in plan.next_act.why
    # The control: in tune, it says nothing of a note.
    assert "E +" not in _plan([0.0] * 9).next_act.why


def test_where_the_seat_gains_nothing_tape_goes_on_what_is_sharp_both_ways() -> None:
    """Low A flat, the octave wide, F and high G above target and beam."""
    hz = _FIXED_HZ * _RATIOS * 2.0 ** (np.array([-4, -13, -4, 2, 4, -5, 11, 8, -4]) / 1200.0)
    fitting = Fitting(reference_hz=_FIXED_HZ)
    for _ in range(3):
        take = Take(setting=Setting(), hz=hz, sd_cents=np.full(len(NOTES), 0.5))
        fitting = fitting.with_take(FittingTake(origin="a test", take=take))
    plan = plan_setting(fitting)
    assert {step.act.act for step in plan.steps} == {Act.TAPE}
    assert set(plan.setting.tape_mm) <= {"F", "high G"}
    assert "F" in plan.setting.tape_mm


def test_tape_alone_leaves_what_only_rides_on_a_wide_octave() -> None:
    """E is sharp of its target and lies on the beam, F stands above both, B above the beam alone."""
    now = _beam(low_A=-10.0, high_A=10.0, B=-2.0, E=4.0, F=14.0)
    allowed = Allowed(
        seats_mm=(-0.25, -0.5),
        grow=("E", "F"),
        shrink=(),
        tape_most_mm=np.full(8, 3.0),
        most_acts=4,
        must_move=True,
    )
    alone = tape_alone(allowed, now, TOLERANCE_CENTS)
    assert (list(alone.grow), list(alone.seats_mm), alone.must_move) == (["F"], [], False)
    # The control: with a true octave E is sharp by both as well.
    assert list(tape_alone(allowed, _beam(E=4.0, F=14.0), TOLERANCE_CENTS).grow) == ["E", "F"]
