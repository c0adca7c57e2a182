"""Facts of the trade, each common practice with no source: a piper would miss them if they were not so."""

from __future__ import annotations

import pytest

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.fitting.acts import STEP_MM, Act
from canebench.fitting.tolerance import TOLERANCE_CENTS
from practice.bench_cases import OCTAVE, advice, chanter

# ------------------------------------------------------------- the order of work


@pytest.mark.parametrize("gone", OCTAVE)
def test_low_a_with_high_a_comes_first(gone: str) -> None:
    """Common practice, no source: nothing is judged before the octave."""
    act = advice(chanter(notes=[note for note in NOTES if note != gone], rest={"D": 30, "C": -30}))
    assert act.act is Act.PLAY_THE_OCTAVE
    assert gone in act.say


def test_then_e_and_c() -> None:
    """Common practice, no source: E and C are the check posts between the two As."""
    act = advice(chanter(notes=OCTAVE))
    assert act.act is Act.CHECK_E_AND_C
    assert "E and C" in act.say
    assert advice(chanter(notes=(*OCTAVE, "E"))).say.startswith("Now play C")


def test_then_all_nine() -> None:
    """Common practice, no source."""
    act = advice(chanter(notes=(*OCTAVE, "E", "C")))
    assert act.act is Act.PLAY_ALL_NINE
    for note in ("low G", "B", "D", "F", "high G"):
        assert note in act.say


@pytest.mark.parametrize("tilt", [-12.0, 12.0])
def test_tape_waits_for_the_octave(tilt: float) -> None:
    """Common practice, no source: tape comes later while the octave is out."""
    assert advice(chanter(tilt=tilt, rest={"D": 20})).act is not Act.TAPE
    assert advice(chanter(rest={"D": 20})).act is Act.TAPE


def test_tape_waits_for_the_height_where_a_pitch_is_asked_for() -> None:
    """Common practice, no source."""
    assert advice(chanter(height=-12, rest={"D": 20}), against="fixed").act is Act.SEAT_DEEPER


def test_drones_come_last() -> None:
    """Common practice, no source: the chanter is balanced in itself before the drones are moved."""
    assert advice(chanter(height=-9, tilt=-9)).act is Act.SEAT_DEEPER
    assert advice(chanter(height=-9, rest={"D": 12})).act is Act.TAPE
    assert advice(chanter(height=-9)).act is Act.MOVE_THE_DRONES


# ------------------------------------------------------------------- the seat


def test_flat_overall_is_seated_deeper() -> None:
    """Common practice, no source: less hemp where it needs it."""
    act = advice(chanter(height=-12), against="fixed")
    assert act.act is Act.SEAT_DEEPER
    assert "hemp off" in act.say


def test_sharp_overall_is_raised_with_a_short_length_of_hemp() -> None:
    """Common practice, no source: 3 to 4 inches of extra hemp is the usual first try."""
    act = advice(chanter(height=12), against="fixed")
    assert act.act is Act.RAISE_WITH_HEMP
    assert "3 to 4 inches in all, some 3 to 4 turns" in act.say
    assert "3 to 4" not in advice(chanter(tilt=12)).say


def test_deeper_moves_the_top_hand_most() -> None:
    """Common practice, no source: a flat top hand is seated deeper, a sharp one raised."""
    for against in ("drones", "low-a", "fixed"):
        assert advice(chanter(tilt=-9), against=against).act is Act.SEAT_DEEPER
        assert advice(chanter(tilt=9), against=against).act is Act.RAISE_WITH_HEMP


@pytest.mark.parametrize("tilt", [-15.0, 15.0])
def test_small_steps(tilt: float) -> None:
    """Common practice, no source: half a millimetre a move at most, however far it is out."""
    assert STEP_MM == 0.5
    assert "0.5 mm at most" in advice(chanter(tilt=tilt)).say


@pytest.mark.parametrize("tilt", [-15.0, 15.0])
def test_a_reed_is_judged_with_the_tape_off(tilt: float) -> None:
    """Common practice, no source: tape and residue off before a new reed is judged."""
    assert any(
        "tape off" in caution and "residue" in caution for caution in advice(chanter(tilt=tilt)).cautions
    )


@pytest.mark.parametrize("tilt", [-15.0, 15.0])
def test_a_reed_is_held_by_the_binding(tilt: float) -> None:
    """Common practice, no source: never by the blades."""
    assert any("by the binding" in caution for caution in advice(chanter(tilt=tilt)).cautions)


# ------------------------------------------------------------------- the tape


def test_tape_only_flattens() -> None:
    """Common practice, no source: a note that stays sharp is taped, one that stays flat cannot be."""
    assert advice(chanter(rest={"D": 9})).act is Act.TAPE
    flat = advice(chanter(rest={"D": -9}))
    assert flat.act is Act.BREAK_IN
    assert "Tape cannot raise" in flat.why


def test_tape_goes_from_the_bottom_up_one_hole_at_a_time() -> None:
    """Common practice, no source: tape flattens notes above too, so the lowest sharp note is first."""
    act = advice(chanter(rest={"F": 15, "B": 8, "D": 20}))
    assert act.act is Act.TAPE
    assert "that B speaks from" in act.say
    assert "D and F can wait" in act.why


def test_low_g_is_not_taped() -> None:
    """Common practice, no source: it comes out of no finger hole."""
    act = advice(chanter(rest={"low G": 12}))
    assert act.act is Act.LEAVE
    assert "low G" in act.why


# ---------------------------------------------------------------- what is given up


@pytest.mark.parametrize("note", ["C", "E", "F"])
def test_a_note_that_stays_very_flat_sets_the_reed_aside(note: str) -> None:
    """Common practice, no source: more than 15 cents flat with all else right."""
    assert advice(chanter(rest={note: -20.0})).act is Act.SET_ASIDE
    assert advice(chanter(rest={note: -20.0, "D": -22.0})).act is Act.SET_ASIDE
    assert advice(chanter(rest={note: -10.0})).act is Act.BREAK_IN


def test_a_new_reed_often_brings_c_and_f_up() -> None:
    """Common practice, no source: they are often flat until it is broken in."""
    assert advice(chanter(rest={"C": -9})).act is Act.BREAK_IN


def test_no_note_is_judged_by_the_whole_range_of_scales() -> None:
    """Published scales differ by up to 49 cents: high G on another one is a question, not a bad reed."""
    act = advice(chanter(rest={"high G": 48.8}))
    assert act.act is Act.TAPE
    assert act.say.startswith("Make sure that this is the scale you play")
    assert advice(chanter(rest={"high G": 48.8, "D": -30})).act is Act.SET_ASIDE


def test_height_and_tilt_that_fight_beyond_what_the_seat_can_do() -> None:
    """Common practice, no source: flat overall with a sharp top asks for both moves at once."""
    assert advice(chanter(height=-25, tilt=12), against="fixed").act is Act.SET_ASIDE
    assert advice(chanter(height=25, tilt=-12), against="fixed").act is Act.SET_ASIDE
    near = advice(chanter(height=-6, tilt=6), against="fixed")
    assert near.act is Act.RAISE_WITH_HEMP
    assert "the octave comes first" in near.why


# ---------------------------------------------------------------- what height means


def test_drones_follow_the_chanter() -> None:
    """Common practice, no source: pitch against the drones is mended at the drones."""
    flat, sharp = advice(chanter(height=-9)), advice(chanter(height=9))
    assert "down to the chanter (slides out)" in flat.say
    assert "up to the chanter (slides in)" in sharp.say
    assert "fixed pitch" in flat.stop


def test_height_says_nothing_against_its_own_low_a() -> None:
    """With low A at 0 by definition, half of the tilt would look like height."""
    act = advice(chanter(height=-1.0, tilt=-2.0), against="low-a")
    assert act.act is Act.LEAVE
    assert "Overall pitch was not judged" in act.why
    assert advice(chanter(height=-40), against="low-a").act is Act.LEAVE


# ---------------------------------------------------------------------- tolerances


def test_tolerances_of_the_bench() -> None:
    """An estimate of ours from hearing: A, E and high A within 3 cents, the others within 5."""
    assert {note for note, cents in TOLERANCE_CENTS.items() if cents == 3.0} == {LOW_A, "E", HIGH_A}
    assert {cents for note, cents in TOLERANCE_CENTS.items() if note not in (LOW_A, "E", HIGH_A)} == {5.0}


def test_all_right_is_left_alone() -> None:
    """Common practice, no source: the commonest advice is to leave it."""
    for against in ("drones", "low-a", "fixed"):
        assert advice(chanter(height=1, tilt=-1, rest={"D": 2, "F": -3}), against=against).act is Act.LEAVE
