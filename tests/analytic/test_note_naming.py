"""Notes are named jointly: 30 cents off and a common shift do not confuse them, as they would one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.notes import HIGH_A, HIGH_G, LOW_A, LOW_G, NOTES, F
from canebench.base.scales import DEFAULT_SCALE, published_scales
from canebench.sound.analysis.note_naming import label
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.scales import Scale


def _played(
    names: tuple[str, ...], low_a_hz: float, offsets_cents: FloatArray, scale: Scale = DEFAULT_SCALE
) -> FloatArray:
    place = np.array([scale.cents(name) for name in names])
    return np.asarray(low_a_hz * np.exp2((place + offsets_cents) / 1200))


def _named(pitches_hz: FloatArray, **known: float) -> tuple[str | None, ...]:
    return label(
        pitches_hz,
        DEFAULT_SCALE,
        drones_low_a_hz=known.get("drones_hz"),
        low_a_near_hz=known.get("hint_hz"),
    ).names


def _draws(seed: int, count: int, names: tuple[str, ...]) -> list[tuple[float, FloatArray]]:
    """Low As of the usual range, each with a common offset of 15 cents and 30 cents for each note."""
    rng = np.random.default_rng(seed)
    return [
        (float(rng.uniform(440, 490)), rng.uniform(-15, 15) + rng.uniform(-30, 30, len(names)))
        for _ in range(count)
    ]


def test_f_and_high_g_are_84_cents_apart() -> None:
    """The closest pair of the scale: 5/3 and 7/4."""
    assert DEFAULT_SCALE.cents(HIGH_G) - DEFAULT_SCALE.cents(F) == pytest.approx(84.467, abs=1e-3)


def test_nine_notes_off_by_30_cents_and_a_common_offset_are_named() -> None:
    """200 chanters out of tune, all nine notes right on each."""
    for low_a_hz, offsets in _draws(5_501, 200, NOTES):
        assert _named(_played(NOTES, low_a_hz, offsets)) == NOTES, (low_a_hz, offsets)


def _nearest(pitches_hz: FloatArray, low_a_hz: float) -> list[str]:
    """Note by note: the nearest place of the scale on a low A known already."""
    place = np.array([DEFAULT_SCALE.cents(name) for name in NOTES])
    cents = 1200 * np.log2(pitches_hz / low_a_hz)
    return [NOTES[int(np.argmin(np.abs(place - one)))] for one in cents]


def test_control_naming_each_note_by_the_nearest_place_misnames_some() -> None:
    """The naive way, even on the low A as played, confuses F and high G in some of the same chanters."""
    wrong = 0
    for low_a_hz, offsets in _draws(5_501, 200, NOTES):
        pitches = _played(NOTES, low_a_hz, offsets)
        wrong += _nearest(pitches, float(pitches[NOTES.index(LOW_A)])) != list(NOTES)
    assert wrong >= 5


def test_the_order_of_playing_does_not_matter() -> None:
    rng = np.random.default_rng(5_502)
    for low_a_hz, offsets in _draws(5_503, 50, NOTES):
        order = rng.permutation(len(NOTES))
        names = _named(_played(NOTES, low_a_hz, offsets)[order])
        assert names == tuple(NOTES[i] for i in order)


def test_a_note_played_again_gets_the_same_name() -> None:
    """Low A three times and F twice, a cent or two apart."""
    names = (LOW_A, "E", F, LOW_A, HIGH_G, F, HIGH_A, LOW_A)
    offsets = np.array([0.0, 5.0, 20.0, 1.5, -18.0, 21.5, -8.0, -1.0])
    assert _named(_played(names, 471.0, offsets)) == names


@pytest.mark.parametrize("low_a_hz", [440.0, 466.0, 480.0, 490.0])
def test_the_two_as_alone_are_enough(low_a_hz: float) -> None:
    """An octave, 12 cents narrow, is low A and high A and nothing else."""
    assert _named(_played((LOW_A, HIGH_A), low_a_hz, np.array([0.0, -12.0]))) == (LOW_A, HIGH_A)


def test_a_take_without_as_is_named_with_the_drones_help() -> None:
    """Low G, B, C, D, E, F, high G, with tenors at half of low A."""
    names = tuple(name for name in NOTES if name not in {LOW_A, HIGH_A})
    for low_a_hz, offsets in _draws(5_504, 50, names):
        assert _named(_played(names, low_a_hz, offsets), drones_hz=low_a_hz) == names


def test_a_take_without_as_is_named_with_a_hint() -> None:
    names = tuple(name for name in NOTES if name not in {LOW_A, HIGH_A})
    for low_a_hz, offsets in _draws(5_505, 50, names):
        assert _named(_played(names, low_a_hz, offsets), hint_hz=low_a_hz * 1.003) == names


def test_a_hint_reaches_low_as_out_of_the_usual_range() -> None:
    """A chanter at 395 Hz (five semitones below the usual): with a hint all nine are named, and its low A."""
    pitches = _played(NOTES, 395.0, np.zeros(len(NOTES)))
    found = label(pitches, DEFAULT_SCALE, drones_low_a_hz=None, low_a_near_hz=400.0)
    assert found.names == NOTES
    assert_within_cents(found.low_a_hz, 395.0, cents=0.5)
    assert _named(pitches) != NOTES  # control: without the hint they are taken for other notes


@pytest.mark.parametrize("cents", [-400.0, 1350.0])
def test_a_pitch_that_is_no_note_stays_unnamed(cents: float) -> None:
    """150 cents and more from every note: it keeps no name and takes none from the others."""
    names = (LOW_G, LOW_A, "C", "E", HIGH_A)
    pitches = np.append(_played(names, 475.0, np.zeros(5)), 475.0 * 2 ** (cents / 1200))
    assert _named(pitches, drones_hz=475.0) == (*names, None)


def test_low_a_is_what_the_notes_together_imply() -> None:
    """The median of nine: with offsets that cancel it is exact."""
    offsets = np.array([-8.0, 5.0, -3.0, 8.0, 0.0, 3.0, -5.0, 12.0, -12.0])
    found = label(_played(NOTES, 474.0, offsets), DEFAULT_SCALE, drones_low_a_hz=None, low_a_near_hz=None)
    assert_within_cents(found.low_a_hz, 474.0, cents=0.01)
    assert not found.doubtful


def test_a_naming_that_others_fit_as_well_says_so() -> None:
    """One lone pitch could be many notes; the nine with their As could not."""
    lone = label(np.array([620.0]), DEFAULT_SCALE, drones_low_a_hz=None, low_a_near_hz=None)
    assert lone.doubtful


@pytest.mark.parametrize("name", list(published_scales()))
def test_every_published_scale_names_its_own_notes(name: str) -> None:
    scale = published_scales()[name]
    for low_a_hz, offsets in _draws(5_506, 20, NOTES):
        pitches = _played(NOTES, low_a_hz, offsets / 1.5, scale)
        assert label(pitches, scale, drones_low_a_hz=None, low_a_near_hz=None).names == NOTES


@pytest.mark.parametrize("off_cents", [-83.0, 70.0])
def test_a_lone_pitch_between_the_notes_of_the_drones_is_none(off_cents: float) -> None:
    """Controls: at 45 cents it is named, beside other notes too, and where the user says where low A is."""
    pitch = _played((LOW_G,), 470.0, np.array([off_cents]))
    assert _named(pitch, drones_hz=470.0) == (None,)
    assert _named(_played((LOW_G,), 470.0, np.array([45.0])), drones_hz=470.0) == (LOW_G,)
    low_a_hz = 470.0 * 2 ** (off_cents / 1200)
    assert _named(_played((LOW_G, LOW_A, HIGH_A), low_a_hz, np.zeros(3)), drones_hz=470.0)[0] == LOW_G
    assert _named(pitch, drones_hz=470.0, hint_hz=low_a_hz) == (LOW_G,)
