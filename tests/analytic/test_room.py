"""What a room carries on of a note, in rooms of known reverberation time."""

from __future__ import annotations

import numpy as np

from canebench.sound.analysis.drones.drone_lines import NO_LINES
from canebench.sound.analysis.notes.interference import Surroundings
from canebench.sound.analysis.notes.pitch_contour import contour_of, stretches
from canebench.sound.analysis.notes.room import tail_share
from canebench.sound.dsp.decimation import sections
from canebench.sound.dsp.stft import frames_of
from canebench.sound.dsp.uncertainty import note_variance
from canebench.sound.synth import Recipe, render, scale_notes


def _share(rt60_s: float, notes: int = 9, seed: int = 5) -> float:
    recipe = Recipe(
        low_a_hz=466.0, notes=scale_notes(duration_s=1.2)[:notes], seed=seed, rt60_s=rt60_s, direct_db=0.0
    )
    (section,) = sections(render(recipe)[0])
    frames = frames_of(section)
    found = stretches(contour_of(frames, NO_LINES), frames.hop_s, least_s=0.3)
    return tail_share(frames, found, Surroundings(frames, NO_LINES, found))


def test_a_longer_reverberation_leaves_more() -> None:
    """As strong as the direct sound, it leaves half of 10^(-6 t / RT60) of the power t after the end."""
    shares = [_share(rt60_s) for rt60_s in (0.2, 0.8, 2.0)]
    assert shares == sorted(shares)
    assert shares[0] < 0.003
    assert 0.03 < shares[2] < 0.5 * 10 ** (-6 * 0.13 / 2.0)


def test_one_note_tells_nothing() -> None:
    assert _share(2.0, notes=1) == 0.0


def test_a_room_makes_a_moving_pitch_less_sure() -> None:
    """By its delay of what rises; control: without a rise by far less."""
    rng = np.random.default_rng(3)
    stray, share = 1e-4 * rng.standard_normal((60, 10)), np.full(10, 0.1)
    steady, rising = np.full(60, 470.0), np.linspace(470.0, 471.0, 60)
    dry, wet = (note_variance(stray, share, rising, tail) for tail in (0.0, 0.1))
    assert wet > 10 * dry
    assert note_variance(stray, share, steady, 0.1) < wet / 10
