"""What the next act says of the reed: which way it is off, which note is meant, what comes before what."""

from __future__ import annotations

import pytest

from canebench.base.notes import HIGH_G, LOW_G, B, C, D, E, F
from canebench.fitting.acts import Act
from canebench.fitting.next_act import Against, next_act
from practice.bench_cases import OCTAVE, advice, chanter


@pytest.mark.parametrize(
    ("height", "tilt", "told"),
    [
        (60.0, -20.0, ("sharp overall, which asks for a higher seat", "flat, which asks for a deeper one")),
        (-60.0, 20.0, ("flat overall, which asks for a deeper seat", "sharp, which asks for a higher one")),
    ],
)
def test_a_reed_whose_height_and_octave_fight_is_told_each_way(
    height: float, tilt: float, told: tuple[str, str]
) -> None:
    said = advice(chanter(height=height, tilt=tilt), against="fixed")
    assert said.act is Act.SET_ASIDE
    assert all(one in said.why for one in told)


@pytest.mark.parametrize(("height", "tilt", "side"), [(8.0, -8.0, "sharp"), (-8.0, 8.0, "flat")])
def test_a_seat_that_makes_the_pitch_worse_says_which_way(height: float, tilt: float, side: str) -> None:
    """Control: where both ask for the same move nothing is said of it."""
    assert f"It is {side} overall as well" in advice(chanter(height=height, tilt=tilt), against="fixed").why
    assert "as well" not in advice(chanter(height=-height, tilt=tilt), against="fixed").why


@pytest.mark.parametrize(("flattest", "other"), [(C, E), (E, C), (D, F), (F, D)])
def test_the_flattest_note_is_named(flattest: str, other: str) -> None:
    said = advice(chanter(rest={flattest: -12.0, other: -8.0}))
    assert said.act is Act.BREAK_IN
    assert f"{flattest} is" in said.why


def test_tape_is_told_of_the_lowest_and_the_others_wait() -> None:
    said = advice(chanter(rest={D: 12.0, F: 15.0}))
    assert said.act is Act.TAPE
    assert "D stays 12" in said.why
    assert "F can wait" in said.why
    assert "wait" not in advice(chanter(rest={D: 12.0})).why


def test_what_e_or_c_leave_open_is_measured_before_the_rest_is_asked_for() -> None:
    unsure = chanter(notes=("low A", C, E, "high A"))
    unsure[E] = chanter(sd=9.0)[E]
    said = advice(unsure)
    assert said.act is Act.MEASURE_AGAIN
    assert "whether E is right" in said.why


@pytest.mark.parametrize(("cents", "side"), [(20.0, "above"), (-20.0, "below")])
def test_a_low_g_that_is_left_is_told_with_its_side(cents: float, side: str) -> None:
    said = advice(chanter(rest={LOW_G: cents}))
    assert said.act is Act.LEAVE
    assert f"{side} the beam" in said.why


def test_a_vague_octave_is_measured_again_before_anything_else_is_asked() -> None:
    """Whatever is missing besides. Control: a clear one asks for E and C."""
    for against in ("drones", "low-a", "fixed"):
        said = advice(chanter(sd=6.0, notes=OCTAVE), against=against)
        assert said.act is Act.MEASURE_AGAIN
        assert "whether the octave is right" in said.why
        assert advice(chanter(notes=OCTAVE), against=against).act is Act.CHECK_E_AND_C


@pytest.mark.parametrize(
    ("height", "tilt", "act"), [(2.0, -40.0, Act.SEAT_DEEPER), (-2.0, 40.0, Act.RAISE_WITH_HEMP)]
)
def test_a_reed_of_the_right_pitch_is_not_given_up_for_its_octave(
    height: float, tilt: float, act: Act
) -> None:
    """Nor one that is off the same way in both. Control: off by 30 cents the other way it is."""
    assert advice(chanter(height=height, tilt=tilt), against="fixed").act is act
    assert advice(chanter(height=-30.0 * height, tilt=tilt), against="fixed").act is act
    assert advice(chanter(height=15.0 * height, tilt=tilt), against="fixed").act is Act.SET_ASIDE


@pytest.mark.parametrize("tilt", [-9.0, 9.0])
def test_where_the_height_is_right_nothing_is_said_of_it(tilt: float) -> None:
    for against in ("drones", "fixed"):
        assert advice(chanter(tilt=tilt), against=against).why.endswith("the top hand most.")


@pytest.mark.parametrize(
    ("rest", "act", "note", "doubted"),
    [
        ({D: 12.0, HIGH_G: 20.0}, Act.TAPE, D, False),
        ({D: 20.0, HIGH_G: 12.0}, Act.TAPE, D, True),
        ({B: -12.0, D: -20.0}, Act.BREAK_IN, D, True),
        ({B: -20.0, D: -12.0}, Act.BREAK_IN, B, True),
        ({B: -12.0, D: -14.0}, Act.BREAK_IN, D, False),
    ],
)
def test_act_reason_and_doubt_are_of_one_note(
    rest: dict[str, float], act: Act, note: str, *, doubted: bool
) -> None:
    """The lowest of the sharp, the flattest of the flat; the scale is doubted where that note is far out."""
    said = advice(chanter(rest=rest, sd=0.01))
    assert said.act is act
    assert said.check.startswith(f"{note} again" if act is Act.BREAK_IN else f"{note}, and")
    assert f"{note} {'is' if act is Act.BREAK_IN else 'stays'} {abs(rest[note]):.0f}" in said.why
    assert (f"published scales differ over {note}." in said.say) is doubted
    assert ("scales differ" in said.say) is doubted


@pytest.mark.parametrize(
    ("cents", "ends"),
    [(12.0, "nor tape is for it."), (-12.0, "nor tape is for it."), (20.0, "scales differ over low G.")],
)
def test_the_scale_is_doubted_for_a_low_g_that_is_far_out_only(cents: float, ends: str) -> None:
    assert advice(chanter(rest={LOW_G: cents})).why.endswith(ends)


@pytest.mark.parametrize(
    ("against", "what"), [("fixed", "the overall pitch"), ("drones", "the pitch against the drones")]
)
def test_a_reference_that_is_vague_leaves_the_height_open(against: Against, what: str) -> None:
    """Known to ± 6 cents only. Control: the same reed against one that is known."""
    said = next_act(chanter(), against=against, reference_sd_cents=6.0)
    assert said.act is Act.MEASURE_AGAIN
    assert f"whether {what} is right" in said.why
    assert advice(chanter(), against=against).act is Act.LEAVE
