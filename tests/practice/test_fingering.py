"""Standard fingering of the chanter, each line common practice with no source."""

from __future__ import annotations

import pytest

from canebench.base.errors import UnknownNameError
from canebench.base.fingering import HOLES, OPEN_HOLES, notes_through
from canebench.base.notes import HIGH_A, HIGH_G, LOW_A, LOW_G, NOTES, B, C, D, E, F

#: Common practice, no source. Thumb; first three fingers of the upper hand; four of the lower hand. "x" is a
#: finger down, "o" a hole open. Written as a finger chart, apart from the code.
CHART = {
    LOW_G: "x xxx xxxx",
    LOW_A: "x xxx xxxo",
    B: "x xxx xxoo",
    C: "x xxx xoox",
    D: "x xxx ooox",
    E: "x xxo xxxo",
    F: "x xoo xxxo",
    HIGH_G: "x ooo xxxo",
    HIGH_A: "o oox xxxo",
}
_LOW_A_HOLE_OPEN = {LOW_A, B, E, F, HIGH_G, HIGH_A}


def _from_chart(row: str) -> tuple[str, ...]:
    fingers = row.replace(" ", "")
    assert len(fingers) == len(HOLES)
    return tuple(hole for hole, finger in zip(HOLES, fingers, strict=True) if finger == "o")


@pytest.mark.parametrize("note", NOTES)
def test_open_holes_are_those_of_the_chart(note: str) -> None:
    """Common practice, no source."""
    assert OPEN_HOLES[note] == _from_chart(CHART[note])


def test_control_a_chart_with_one_finger_wrong_is_another() -> None:
    """Lifting the lowest finger on D, a false fingering that learners are told off for."""
    assert OPEN_HOLES[D] != _from_chart("x xxx oooo")


@pytest.mark.parametrize("note", NOTES[1:])
def test_a_hole_bears_the_name_of_the_note_whose_highest_open_hole_it_is(note: str) -> None:
    """Common practice, no source: a note comes out of its highest open hole."""
    assert OPEN_HOLES[note][0] == note
    assert HOLES.index(OPEN_HOLES[note][0]) == min(HOLES.index(hole) for hole in OPEN_HOLES[note])


def test_low_g_sounds_with_all_fingers_down() -> None:
    """Common practice, no source: it vents through the sole holes, which are never covered."""
    assert OPEN_HOLES[LOW_G] == ()


def test_the_low_a_hole_is_open_for_six_notes() -> None:
    """Common practice, no source: so tape or dirt there moves them all, and not C, D or low G."""
    assert {note for note in NOTES if LOW_A in OPEN_HOLES[note]} == _LOW_A_HOLE_OPEN
    assert set(notes_through(LOW_A)) == _LOW_A_HOLE_OPEN


@pytest.mark.parametrize("hole", HOLES)
def test_notes_through_a_hole(hole: str) -> None:
    """Common practice, no source: the hole's own note first, no note lower than it."""
    through = notes_through(hole)
    assert through[0] == hole
    assert set(through) == {note for note, row in CHART.items() if hole in _from_chart(row)}
    assert all(NOTES.index(note) >= NOTES.index(hole) for note in through)


def test_every_note_and_hole_is_there_once() -> None:
    """Nine notes, eight holes, each hole open for some note."""
    assert tuple(OPEN_HOLES) == NOTES
    assert sorted(HOLES) == sorted(NOTES[1:])
    assert {hole for holes in OPEN_HOLES.values() for hole in holes} == set(HOLES)


@pytest.mark.parametrize("given", [LOW_G, "thumb", ""])
def test_an_unknown_hole_is_an_error(given: str) -> None:
    """Low G has no hole of its own."""
    with pytest.raises(UnknownNameError, match=f"hole: '{given}' was given; allowed are high A, high G, F"):
        notes_through(given)
