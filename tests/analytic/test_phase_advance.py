"""The advance of many partials, against a tone whose course is known, alone and under strong steady lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.phase_advance import PARTIALS, Stretches, advance_of
from canebench.sound.dsp.stft import frames_of
from support.pitch import assert_within_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.dsp.stft import Frames

_RATE_HZ, _DURATION_S, _HZ = 22_050.0, 3.0, 474.0
#: The contour is good to a few cents.
_OFF_CENTS = 5.0
_TIME_S = np.arange(round(_DURATION_S * _RATE_HZ)) / _RATE_HZ


def _wavering(seed: int) -> tuple[FloatArray, FloatArray]:
    """A tone of 15 partials that wavers by 4 cents at 0.8 Hz, and its cycles."""
    rng = np.random.default_rng(seed)
    cents = 4.0 * np.sin(2 * np.pi * (0.8 * _TIME_S + rng.uniform()))
    cycles = np.cumsum(_HZ * np.exp2(cents / 1200)) / _RATE_HZ
    levels = 10 ** (-rng.uniform(0, 20, 15) / 20)
    turns = rng.uniform(0, 1, 15)
    parts = [a * np.cos(2 * np.pi * (k * cycles + turns[k - 1])) for k, a in enumerate(levels, start=1)]
    return np.asarray(np.sum(parts, axis=0)), cycles


def _drone(level: float) -> FloatArray:
    """Five steady lines within 2 Hz of the tone's first partials."""
    return np.asarray(
        level * np.sum([np.cos(2 * np.pi * k * (_HZ + 0.37) * _TIME_S) for k in range(1, 6)], axis=0)
    )


def _mean_hz(
    frames: Frames, noise: FloatArray, starts: tuple[int, ...] = (0,)
) -> list[tuple[float, float, float]]:
    """Start, end (s) and mean pitch of each stretch, from a guess that is off."""
    rows = np.arange(10, frames.count - 10)
    stretches = Stretches(
        rows=rows, starts=np.array(starts), freq_hz=np.full(len(rows), _HZ * 2 ** (_OFF_CENTS / 1200))
    )
    found = advance_of(frames, stretches, lambda hz: np.tile(noise, (len(hz), 1)))
    ends = [*starts[1:], len(rows)]
    spans = [(start, end - 1) for start, end in zip(starts, ends, strict=True)]
    times = frames.times_s[rows]
    return [
        (times[a], times[b], (found.cycles[b] - found.cycles[a]) / (times[b] - times[a])) for a, b in spans
    ]


def _frames(signal: FloatArray) -> Frames:
    return frames_of(Section(signal=signal, rate_hz=_RATE_HZ, start_s=0.0))


def _true_hz(cycles: FloatArray, start_s: float, end_s: float) -> float:
    ends = np.interp([start_s, end_s], _TIME_S, cycles)
    return float((ends[1] - ends[0]) / (end_s - start_s))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_wavering_tone_is_followed(seed: int) -> None:
    signal, cycles = _wavering(seed)
    for start, end, hz in _mean_hz(_frames(signal), np.full(PARTIALS, 1e-9), (0, 40, 75)):
        assert_within_cents(hz, _true_hz(cycles, start, end), cents=0.02)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lines_as_loud_as_the_lower_partials_hardly_pull(seed: int) -> None:
    """What stands at five partials is told. Control: told nothing, the same tone is pulled further."""
    signal, cycles = _wavering(seed)
    frames = _frames(signal + _drone(1.5))
    noise = np.full(PARTIALS, 1e-9)
    told = noise.copy()
    told[:5] = 1.5**2
    ((start, end, hz),) = _mean_hz(frames, told)
    assert_within_cents(hz, _true_hz(cycles, start, end), cents=0.05)
    untold = _mean_hz(frames, noise)[0][2]
    error = abs(np.log2(untold / _true_hz(cycles, start, end)))
    assert error > 2 * abs(np.log2(hz / _true_hz(cycles, start, end)))
