"""What tape, seat and a pinch do to a chanter, on an invented fixture that is not a measured chanter.

Each is common practice with no source: the directions are a piper's, no number is.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.fingering import HOLES, notes_through
from canebench.base.notes import HIGH_A, LOW_A, LOW_G, NOTES, D, E, F
from canebench.bore.assembly import assemble
from canebench.bore.tape import covered_mm
from support.bores import BREATH, cents, invented_chanter, invented_hz, invented_reed, pitches_hz

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray

#: Below this nothing is said to have moved, cents: the search ends nearer.
_STILL_CENTS = 1e-4
_NETWORK = assemble(invented_chanter(), invented_reed(), BREATH)
_BARE_HZ = pitches_hz(_NETWORK, start_hz=invented_hz())
#: Top and bottom hand, each without the note next to the other.
_TOP = [NOTES.index(note) for note in (F, "high G", HIGH_A)]
_LOW = [NOTES.index(note) for note in (LOW_G, LOW_A, "B")]


def _taped_cents(hole: str, share: float) -> FloatArray:
    """How far each note moves with that share of one hole under tape."""
    reach_mm = covered_mm(share, diameter_mm=_NETWORK.chanter.hole(hole).diameter_mm)
    return cents(pitches_hz(_NETWORK, tape_mm={hole: reach_mm}, start_hz=_BARE_HZ), _BARE_HZ)


def _raised_cents(gap_mm: float, *, from_mm: float = 2.0) -> FloatArray:
    """How far each note moves when the gap changes from 2 mm, the depth of a hand seat."""
    seated = pitches_hz(_NETWORK, gap_mm=from_mm, start_hz=_BARE_HZ)
    return cents(pitches_hz(_NETWORK, gap_mm=gap_mm, start_hz=seated), seated)


def _moved(moves_cents: FloatArray) -> Sequence[str]:
    return [note for note, move in zip(NOTES, moves_cents, strict=True) if abs(move) > _STILL_CENTS]


@pytest.mark.parametrize("hole", HOLES)
def test_tape_flattens_the_notes_that_sound_through_its_hole_and_no_other(hole: str) -> None:
    """Common practice, no source: the hole's own note most plainly, a lower note never."""
    moves_cents = _taped_cents(hole, 0.3)
    assert _moved(moves_cents) == list(notes_through(hole))
    assert np.all(np.abs(moves_cents[: NOTES.index(hole)]) < _STILL_CENTS)
    assert moves_cents[NOTES.index(hole)] < -0.5
    # Control: without tape none has moved.
    assert _moved(_taped_cents(hole, 0.0)) == []


@pytest.mark.parametrize("hole", HOLES)
@pytest.mark.parametrize("share", [0.05, 0.2, 0.5])
def test_tape_never_sharpens(hole: str, share: float) -> None:
    """Common practice, no source: so the seat is set with every note at or above its place.

    High A by tape on the hole below it may, by less than any ear hears: losses couple its two resonances.
    """
    moves_cents = _taped_cents(hole, share)
    assert np.max(moves_cents[: NOTES.index(HIGH_A)]) < _STILL_CENTS
    assert moves_cents[NOTES.index(HIGH_A)] < 0.1


@pytest.mark.parametrize("hole", HOLES)
def test_more_tape_flattens_more(hole: str) -> None:
    """Common practice, no source: up to half of the hole, beyond which the note is damped."""
    own = NOTES.index(hole)
    moves = [float(_taped_cents(hole, share)[own]) for share in (0.0, 0.1, 0.2, 0.35, 0.5)]
    assert all(more < less for less, more in pairwise(moves))


@pytest.mark.parametrize("hole", HOLES)
@pytest.mark.parametrize("share", [0.2, 0.5])
def test_half_the_tape_does_less_than_half(hole: str, share: float) -> None:
    """Common practice, no source: the first sliver does little, so tape is moved down in thin steps."""
    own = NOTES.index(hole)
    part = _taped_cents(hole, share / 2)[own] / _taped_cents(hole, share)[own]
    assert 0.25 < part < 0.5


def test_tape_on_low_a_moves_low_a_most() -> None:
    """Common practice, no source: B, E and the top hand follow a little; C, D and low G stay."""
    moves_cents = _taped_cents(LOW_A, 0.3)
    assert int(np.argmin(moves_cents)) == NOTES.index(LOW_A)
    for note in (LOW_G, "C", D):
        assert abs(moves_cents[NOTES.index(note)]) < _STILL_CENTS


def test_deeper_sharpens_every_note_and_the_top_hand_most() -> None:
    """Common practice, no source: sink a reed whose top hand is flat."""
    moves_cents = _raised_cents(1.0)
    assert np.all(moves_cents > 0)
    assert min(moves_cents[_TOP]) > 1.5 * max(moves_cents[_LOW])
    assert np.all(np.diff(moves_cents[: NOTES.index(HIGH_A)]) > 0)


def test_raising_flattens_every_note_and_the_top_hand_most() -> None:
    """Common practice, no source: raise a reed whose top hand is sharp."""
    moves_cents = _raised_cents(3.0)
    assert np.all(moves_cents < 0)
    assert max(moves_cents[_TOP]) < 1.5 * min(moves_cents[_LOW])


def test_raising_undoes_sinking() -> None:
    """Common practice, no source: back at the mark, the reed plays as before."""
    there = _raised_cents(1.0)
    back = _raised_cents(2.0, from_mm=1.0)
    assert np.max(np.abs(there + back)) < _STILL_CENTS
    assert np.min(np.abs(there)) > 1.0


def test_a_pinched_reed_is_sharper_and_the_top_hand_most() -> None:
    """Common practice, no source: closing the blades takes volume from the reed."""
    pinched = assemble(invented_chanter(), invented_reed(volume_mm3=258.8), BREATH)
    moves_cents = cents(pitches_hz(pinched, start_hz=_BARE_HZ), _BARE_HZ)
    assert np.all(moves_cents > 0)
    assert min(moves_cents[_TOP]) > 2 * max(moves_cents[_LOW])
    opened = assemble(invented_chanter(), invented_reed(volume_mm3=278.8), BREATH)
    assert np.all(cents(pitches_hz(opened, start_hz=_BARE_HZ), _BARE_HZ) < 0)


def test_tape_and_seat_are_different_tools() -> None:
    """Common practice, no source: tape mends one note, the seat tilts the whole scale."""
    taped, seated = _taped_cents(E, 0.3), _raised_cents(1.0)
    assert len(_moved(seated)) == len(NOTES)
    assert len(_moved(taped)) == len(notes_through(E)) < len(NOTES)
