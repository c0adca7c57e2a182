"""The octave of a stretch, told by whether the odd partials of the lower pitch sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.drones.drone_lines import NO_LINES
from canebench.sound.analysis.notes.interference import Surroundings
from canebench.sound.analysis.notes.octaves import in_right_octave
from canebench.sound.analysis.notes.pitch_contour import PitchContour, Stretch
from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.stft import Frames, frames_of

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_RATE_HZ, _LOW_HZ, _NOTE_S = 22_050.0, 470.0, 1.0
_NAMES = (1.0, 9 / 8, 4 / 3, 2.0)


def _tone(hz: float, levels: FloatArray, rng: np.random.Generator) -> FloatArray:
    time_s = np.arange(round(_NOTE_S * _RATE_HZ)) / _RATE_HZ
    turned = [rng.uniform(0, 2 * np.pi) for _ in levels]
    partials = zip(levels, turned, strict=True)
    return np.asarray(
        sum(a * np.cos(2 * np.pi * k * hz * time_s + p) for k, (a, p) in enumerate(partials, start=1))
    )


def _settled(odd_db: float, *, given: float, drone_db: float, seed: int) -> tuple[list[float], list[float]]:
    """Pitches played and found, of notes whose odd partials lie `odd_db` beside the even ones.

    Every stretch is handed over as lying at `given` times its pitch, where that is in the compass; all along
    a drone an octave under low A sounds at `drone_db` beside the notes.
    """
    rng = np.random.default_rng(seed)
    levels = np.ones(14)
    levels[::2] *= 10 ** (odd_db / 20)
    parts = [_tone(_LOW_HZ * ratio, levels, rng) for ratio in _NAMES]
    signal = np.concatenate(parts)
    drone = np.concatenate([_tone(_LOW_HZ / 2, np.ones(28), np.random.default_rng(0)) for _ in _NAMES])
    signal = signal + 10 ** (drone_db / 20) * drone + 1e-3 * rng.standard_normal(len(signal))
    frames = frames_of(Section(signal=signal, rate_hz=_RATE_HZ, start_s=0.0))
    found, played = [], []
    for index, ratio in enumerate(_NAMES):
        inside = np.flatnonzero(
            (frames.times_s > index * _NOTE_S + 0.1) & (frames.times_s < (index + 1) * _NOTE_S - 0.1)
        )
        heard = _LOW_HZ * ratio * given
        heard = heard if 352 <= heard <= 1060 else _LOW_HZ * ratio
        found.append(Stretch(first=int(inside[0]), last=int(inside[-1]), freq_hz=heard))
        played.append(_LOW_HZ * ratio)
    settled = in_right_octave(_contour(frames, found), found, Surroundings(frames, NO_LINES, found))
    return played, [own.freq_hz for own in settled]


def _contour(frames: Frames, found: list[Stretch]) -> PitchContour:
    freq_hz = np.full(frames.count, _LOW_HZ)
    for own in found:
        freq_hz[own.first : own.last + 1] = own.freq_hz
    return PitchContour(
        freq_hz=freq_hz, support=np.ones(frames.count), sounding=np.ones(frames.count, dtype=bool)
    )


@pytest.mark.parametrize("given", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(
    ("odd_db", "drone_db"), [(-20, -80), (0, -80), (15, -80), (-12, -30), (0, -10), (15, -10)]
)
def test_the_octave_is_that_which_sounds(odd_db: float, drone_db: float, given: float) -> None:
    """Handed over an octave off or not, with odd partials 20 dB down or 15 dB up, over a drone or not."""
    played, found = _settled(odd_db, given=given, drone_db=drone_db, seed=3)
    assert found == pytest.approx(played)


def test_a_note_without_odd_partials_is_an_octave_up() -> None:
    """Control: what has no odd partials at all sounds an octave higher, and is said to."""
    played, found = _settled(-120.0, given=1.0, drone_db=-80.0, seed=4)
    cents = hz_to_cents(np.array(found), 1.0) - hz_to_cents(np.array(played), 1.0)
    assert cents[:2] == pytest.approx(1200)
