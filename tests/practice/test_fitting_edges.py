"""Where a fitting's rules change their mind: at the limit itself, and just beside it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from canebench.base.errors import InputError
from canebench.base.notes import HIGH_G, LOW_A, NOTES, C, D, E
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.base.uncertain import Uncertain
from canebench.fitting.acts import (
    HANDLING,
    Act,
    check_that_it_moved,
    check_the_setting,
    record_again,
    warm_up,
)
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import HIGHEST_MM, Limits, check_seat
from canebench.fitting.slips import slips_of
from canebench.fitting.take import Take
from canebench.fitting.tolerance import judge
from canebench.fitting.working_order import working_order
from practice.bench_cases import advice, chanter

# What may be asked for


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("thread_mm", 0.05, 1.0),
        ("band_mm", 2.0, 20.0),
        ("across_mm", 4.0, 12.0),
        ("taper", 0.01, 0.2),
        ("packing", 0.4, 1.0),
        ("inches_per_mm", 0.1, 40.0),
    ],
)
def test_hemp_and_seat_have_sizes_that_can_be(name: str, low: float, high: float) -> None:
    """Both ends are taken; just beyond, the sentence tells them."""
    for size in (low, high):
        sizes: dict[str, Any] = {name: size}
        assert getattr(Hemp(**sizes), name) == size
    for size in (0.99 * low, 1.01 * high):
        sizes = {name: size}
        with pytest.raises(InputError, match=f"{name}: .* from {low:g} to {high:g} is allowed"):
            Hemp(**sizes)


#: Of each size of a plan its ends and its unit.
_TRAVEL = {
    "deeper_mm": (0.0, 6.0, "mm"),
    "higher_mm": (0.0, 6.0, "mm"),
    "step_mm": (0.05, 1.0, "mm"),
    "tape_share": (0.0, 0.5, "of a hole"),
}


def test_a_plan_may_go_so_far() -> None:
    """To either end and no further; what is no number is not at one of them."""
    for name, (low, high, unit) in _TRAVEL.items():
        for size in (low, high):
            told: dict[str, Any] = {name: size}
            assert getattr(Limits(**told), name) == size
        for size, nearest in ((low - 0.01, low), (high + 0.01, high), (math.nan, low), (math.inf, low)):
            told = {name: size}
            allowed = f"from {low:g} to {high:g} {unit} is allowed"
            with pytest.raises(InputError, match=f"{name}: .* {allowed}. .* works: {nearest:g} {unit}"):
                Limits(**told)


@pytest.mark.parametrize(("name", "most"), [("most_strips", 8), ("pinches_left", 3)])
def test_strips_and_pinches_are_counted(name: str, most: int) -> None:
    """Eight holes; three pinches in a reed's life (common practice, no source)."""
    for count in (0, most):
        told: dict[str, Any] = {name: count}
        assert getattr(Limits(**told), name) == count
    for wrong in (-1, most + 1, True, 1.0):
        told = {name: wrong}
        with pytest.raises(InputError, match=f"{name}: .* a whole number from 0 to {most} is allowed"):
            Limits(**told)


@pytest.mark.parametrize(
    ("seat_mm", "said"),
    [
        (3.0, ""),
        (3.0 + 1e-6, ""),
        (3.0 + 1e-5, "deeper than a firm hand seat was given; from -4 to 3 mm .* works: 3 mm"),
        (-HIGHEST_MM, ""),
        (-HIGHEST_MM - 1e-6, ""),
        (-HIGHEST_MM - 1e-5, "4.00001 mm higher than a firm hand seat .* works: -4 mm"),
    ],
)
def test_a_reed_may_sit_at_the_bottom_and_at_the_top(seat_mm: float, said: str) -> None:
    """Beyond either by no more than sums of steps round to."""
    if not said:
        check_seat(seat_mm, deepest_mm=3.0)
        return
    with pytest.raises(InputError, match=said):
        check_seat(seat_mm, deepest_mm=3.0)


def test_a_seat_below_a_near_bottom_is_told_as_too_deep() -> None:
    """Half a millimetre below a hand seat there is wood."""
    with pytest.raises(InputError, match=r"0.75 mm deeper than a firm hand seat .* works: 0.5 mm"):
        check_seat(0.75, deepest_mm=0.5)


def _take(hz: float, sd_cents: float = 1.0) -> Take:
    """One note of that pitch, the others as they should be."""
    pitches, sds = np.full(len(NOTES), 480.0), np.full(len(NOTES), 1.0)
    pitches[3], sds[3] = hz, sd_cents
    return Take(setting=Setting(), hz=pitches, sd_cents=sds)


def test_a_take_has_positive_pitches_and_uncertainties_that_are_none_or_more() -> None:
    """Of a note that was not played, nothing is asked."""
    assert _take(0.5).hz[3] == 0.5
    assert _take(480.0, 0.0).sd_cents[3] == 0.0
    assert _take(math.nan, math.nan).hz[3] != 480.0
    for hz, sd_cents in ((0.0, 1.0), (-1.0, 1.0), (480.0, -0.1), (480.0, math.nan)):
        with pytest.raises(InputError, match="both are positive"):
            _take(hz, sd_cents)
    for hz_of, sd_of in ((8, 9), (9, 8)):
        with pytest.raises(InputError, match="nine are needed"):
            Take(setting=Setting(), hz=np.full(hz_of, 480.0), sd_cents=np.ones(sd_of))


# What is in tune


@pytest.mark.parametrize(
    ("value", "sd", "verdict"),
    [
        (3.64, 1.0, "in"),
        (3.71, 1.0, "out"),
        (0.0, 2.9, "in"),
        (0.0, 3.0, "in"),
        (0.0, 3.1, "unresolved"),
        (3.0, 0.0, "in"),
        (-3.0, 0.0, "in"),
        (-3.1, 0.0, "out"),
        (math.nan, 1.0, "unresolved"),
        (1.0, math.inf, "unresolved"),
    ],
)
def test_three_chances_in_four_are_enough_to_act(value: float, sd: float, verdict: str) -> None:
    """Against 3 cents. By the normal table three quarters lie beyond 0.6745 deviations below the mean."""
    assert judge(Uncertain(value=value, sd=sd), 3.0) == verdict


# What looks like a slip


def _slips(**off_cents: float) -> list[str]:
    off = {name.replace("_", " "): cents for name, cents in off_cents.items()}
    hz = {note: 478.0 * DEFAULT_SCALE.ratios[note] * 2 ** (off.get(note, 0.0) / 1200) for note in NOTES}
    return [slip.said for slip in slips_of(hz, DEFAULT_SCALE)]


@pytest.mark.parametrize(
    ("off_cents", "said"),
    [
        (-79.0, None),
        (79.0, None),
        (-80.4, "from low A to high A are 1120 cents"),
        (80.4, "from low A to high A are 1280 cents"),
        (-1_099.4, "from low A to high A are 101 cents"),
        (-1_101.0, "low A and high A are 99 cents apart"),
        (-1_299.0, "low A and high A are 99 cents apart"),
        (-1_300.6, "high A lies 101 cents below low A: the two may be swapped"),
    ],
)
def test_an_octave_that_no_reed_plays(off_cents: float, said: str | None) -> None:
    found = _slips(high_A=off_cents)
    assert (found == []) if said is None else found[0].startswith(said)
    assert len(found) == (said is not None)


def test_a_step_down_where_the_scale_goes_up_is_told_as_swapped() -> None:
    assert _slips(low_G=300.0) == ["low A lies 69 cents below low G: the two may be swapped"]


@pytest.mark.parametrize(
    ("cents", "said"),
    [
        (0.0, "from low G to low A are 0 cents, and 231"),
        (0.6, "from low G to low A are 1 cents, and 231"),
        (-0.6, "low A lies 1 cents below low G"),
    ],
)
def test_two_notes_in_one_place_are_swapped_only_where_the_higher_lies_below(cents: float, said: str) -> None:
    hz = {"low A": 478.0, "low G": 478.0 * 2 ** (-cents / 1200)}
    (slip,) = slips_of(hz, DEFAULT_SCALE)
    assert slip.said.startswith(said)


def test_two_slips_are_told_one_by_one_from_the_bottom_up() -> None:
    """The step after a note that is out has been told with it; the next odd step has not."""
    assert [said.split(" ")[0] for said in _slips(B=100.0, E=-100.0)] == ["B", "E"]
    assert len(_slips(B=100.0, C=200.0, D=300.0)) >= 2


@pytest.mark.parametrize(("cents", "told"), [(79.6, 0), (80.4, 1), (-79.6, 0), (-80.4, 1)])
def test_a_step_is_odd_from_eighty_cents_on(cents: float, told: int) -> None:
    """Common practice, no source: a reed may be off by half of a semitone, and a slip by one."""
    assert len(_slips(low_G=cents)) == told


@pytest.mark.parametrize(
    ("back", "said"), [(-5.0, "from low A to B"), (-79.6, "from low A to B"), (-80.4, "B is")]
)
def test_a_note_is_out_by_itself_where_the_next_step_makes_up_for_it(back: float, said: str) -> None:
    """Else all from there on lie higher, and the one step is told. No high A was played: no octave is odd."""
    hz = {note: 478.0 * DEFAULT_SCALE.ratios[note] for note in NOTES[:4]}
    hz |= {"B": hz["B"] * 2 ** (100.0 / 1200), "C": hz["C"] * 2 ** ((100.0 + back) / 1200)}
    (slip,) = slips_of(hz, DEFAULT_SCALE)
    assert slip.said.startswith(said)


def test_the_last_step_of_a_scale_may_be_the_slip() -> None:
    """Low A was not played, so that there is no octave to be odd."""
    hz = {note: 478.0 * DEFAULT_SCALE.ratios[note] for note in NOTES if note != LOW_A}
    hz["high A"] *= 2 ** (100.0 / 1200)
    (slip,) = slips_of(hz, DEFAULT_SCALE)
    assert slip.notes == (HIGH_G, "high A")


# What is told to do

#: All between the two As a little above them, so that no note lies below an A.
_RAISED = dict.fromkeys(NOTES[2:-1], 1.0) | {"low G": 1.0}
_LOWERED = {note: -cents for note, cents in _RAISED.items()}


@pytest.mark.parametrize(
    ("rest", "act"),
    [
        ({C: -14.9}, Act.BREAK_IN),
        ({C: -15.1}, Act.SET_ASIDE),
        ({HIGH_G: 24.9, D: -24.9}, Act.TAPE),
        ({HIGH_G: 25.1, D: -25.1}, Act.SET_ASIDE),
        (_RAISED | {HIGH_G: 49.9}, Act.TAPE),
        (_RAISED | {HIGH_G: 50.1}, Act.SET_ASIDE),
        (_LOWERED | {HIGH_G: -49.9}, Act.BREAK_IN),
        (_LOWERED | {HIGH_G: -50.1}, Act.SET_ASIDE),
    ],
)
def test_a_reed_is_given_up_from_its_limit_on(rest: dict[str, float], act: Act) -> None:
    """15 cents flat in one note, 50 from the flattest to the sharpest."""
    assert advice(chanter(rest=rest, sd=0.01)).act is act


def test_notes_that_are_not_sure_to_be_so_far_apart_give_no_reed_up() -> None:
    """60 cents from one to the other, each known to some 11. Control: known to a hundredth."""
    rest = {HIGH_G: 30.0, D: -30.0}
    sure = chanter(rest=rest, sd=0.01)
    vague = {**sure, **{note: chanter(rest=rest, sd=11.0)[note] for note in rest}}
    assert advice(vague).act is Act.TAPE
    assert advice(sure).act is Act.SET_ASIDE


@pytest.mark.parametrize(("height", "act"), [(11.2, Act.SEAT_DEEPER), (11.6, Act.SET_ASIDE)])
def test_a_reed_that_seating_cannot_mend_is_told_by_how_much(height: float, act: Act) -> None:
    """The octave 10 cents narrow: a deeper seat mends it and raises all by 0.86 to 1.23 of that."""
    for sign in (1.0, -1.0):
        said = advice(chanter(height=sign * height, tilt=-10.0 * sign, sd=0.01), against="fixed")
        assert said.act is (Act.RAISE_WITH_HEMP if sign < 0 and act is Act.SEAT_DEEPER else act)
        if act is Act.SET_ASIDE:
            assert "With the octave right it would be about 22 cents" in said.why


@pytest.mark.parametrize(("cents", "doubted"), [(14.9, False), (15.0, True), (-14.9, False), (-15.0, True)])
def test_the_scale_is_asked_about_where_scales_differ_by_so_much(cents: float, *, doubted: bool) -> None:
    """D, which differs between scales; C, which does not, is never asked about so."""
    assert ("Make sure that this is the scale" in advice(chanter(rest={D: cents}, sd=0.01)).say) is doubted
    assert "Make sure" not in advice(chanter(rest={C: abs(cents)}, sd=0.01)).say


@pytest.mark.parametrize(("vaguest", "other"), [(C, E), (E, C)])
def test_the_vaguest_note_is_the_one_to_measure_again(vaguest: str, other: str) -> None:
    unsure = chanter() | {vaguest: chanter(sd=12.0)[vaguest], other: chanter(sd=8.0)[other]}
    said = advice(unsure)
    assert said.act is Act.MEASURE_AGAIN
    assert f"whether {vaguest} is right" in said.why


@pytest.mark.parametrize("rest", [{C: -8.0}, {C: -30.0}])
def test_a_reed_that_is_only_held_is_held_by_its_binding(rest: dict[str, float]) -> None:
    """Neither seat nor tape is touched: nothing is said of tape."""
    assert advice(chanter(rest=rest)).cautions == check_that_it_moved().cautions == HANDLING[:1]
    assert "binding" in HANDLING[0]


def test_a_take_in_which_nothing_could_be_measured_changes_nothing() -> None:
    said = record_again("The drones drown it.")
    assert (said.act, said.why) == (Act.MEASURE_AGAIN, "The drones drown it.")
    assert said.say.startswith("Change nothing")


def test_a_take_that_does_not_fit_asks_for_what_was_done_and_for_another() -> None:
    said = check_the_setting()
    assert said.act is Act.CHECK_THE_SETTING
    assert "record it once more" in said.say
    assert not said.cautions


@pytest.mark.parametrize(
    ("played_min", "said"), [(0.0, "not been played"), (1.0, "been played for 1 minutes only")]
)
def test_how_long_the_pipes_were_played_is_said(played_min: float, said: str) -> None:
    assert f"They had {said}:" in warm_up(played_min, enough_min=15.0).why


def test_a_move_that_is_not_worth_an_act_is_none() -> None:
    """A hundredth of a millimetre of seat, a twentieth of tape; control: half as much again."""
    hair = Setting(seat_mm=0.01, tape_mm={E: 0.05})
    assert working_order(Setting(), hair) == ()
    assert working_order(hair, Setting(tape_mm={D: 0.01})) == ()
    acts = [move.act for move in working_order(Setting(), Setting(seat_mm=0.015, tape_mm={E: 0.075}))]
    assert acts == [Act.SEAT_DEEPER, Act.TAPE]
