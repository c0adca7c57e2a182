"""Two tenors whose courses are known here, drifting and crossing, with a bass and noise beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.sound.analysis.drones.tenor_pair import PairCourse, tenor_pair
from canebench.sound.dsp.decimation import Section
from canebench.sound.dsp.stft import frames_of

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.dsp.stft import Frames

_RATE_HZ, _DURATION_S, _CENTRE_HZ = 22_050.0, 10.0, 237.0
_TIME_S = np.arange(round(_DURATION_S * _RATE_HZ)) / _RATE_HZ


def _tone(cycles: FloatArray, level: FloatArray, rng: np.random.Generator) -> FloatArray:
    turns = rng.uniform(0, 1, len(level))
    parts = [a * np.cos(2 * np.pi * (k * cycles + turns[k - 1])) for k, a in enumerate(level, start=1)]
    return np.asarray(np.sum(parts, axis=0))


def _take(seed: int, offsets_cents: tuple[FloatArray, FloatArray]) -> tuple[Frames, list[FloatArray]]:
    """Tenors on these courses about the centre, the bass an octave below, and noise 40 dB down."""
    rng = np.random.default_rng(seed)
    cycles: list[FloatArray] = [
        np.cumsum(_CENTRE_HZ * np.exp2(cents / 1200)) / _RATE_HZ for cents in offsets_cents
    ]
    levels = [10 ** (-rng.uniform(0, 25, 11) / 20) for _ in cycles]
    signal = np.sum([_tone(c, a, rng) for c, a in zip(cycles, levels, strict=True)], axis=0)
    signal += _tone(_CENTRE_HZ / 2 * _TIME_S, 0.5 / np.arange(1, 20), rng)
    signal += 0.01 * rng.standard_normal(len(signal))
    return frames_of(Section(signal=signal, rate_hz=_RATE_HZ, start_s=0.0)).thinned(), cycles


def _found(frames: Frames) -> PairCourse:
    rows = np.arange(frames.count)
    course = np.full(len(rows), _CENTRE_HZ)
    found = tenor_pair(frames, course, rows, course)
    assert found is not None
    return found


def _errors_cents(frames: Frames, found: PairCourse, cycles: list[FloatArray]) -> list[float]:
    """Of the mean pitch from first to last window, each tenor against the nearer of two truths."""
    at_s = frames.start_s + found.frames[[0, -1]] * frames.hop_s
    true = [float(np.diff(np.interp(at_s, _TIME_S, one))[0]) for one in cycles]
    gained = [float(one[-1] - one[0]) for one in found.cycles]
    pairs = [(gained, true), (gained, true[::-1])]
    return min(([abs(1200 * np.log2(g / t)) for g, t in zip(*pair, strict=True)] for pair in pairs), key=sum)


def _drift(start_cents: float, end_cents: float, seed: int) -> FloatArray:
    sway = 1.0 * np.sin(2 * np.pi * (0.13 * _TIME_S + 0.37 * seed))
    return np.asarray(np.linspace(start_cents, end_cents, len(_TIME_S)) + sway)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_two_that_drift_apart_are_followed_to_a_third_of_a_cent(seed: int) -> None:
    """Control: neither is within that of the other's truth."""
    frames, cycles = _take(seed, (_drift(3.0, 6.0, seed), _drift(-2.0, -5.0, seed + 5)))
    found = _found(frames)
    assert max(_errors_cents(frames, found, cycles)) < 0.3
    assert min(_errors_cents(frames, found, [cycles[0], cycles[0]])[1:]) > 0.3 or (
        _errors_cents(frames, found, [cycles[0], cycles[0]])[0] > 0.3
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_two_that_cross_keep_their_timbre(seed: int) -> None:
    """Each goes 8 cents past the other: followed by pitch alone, both would seem to stay where they are."""
    frames, cycles = _take(seed, (_drift(4.0, -4.0, 0), _drift(-4.0, 4.0, 0)))
    found = _found(frames)
    first, last = found.freq_hz[:, 1], found.freq_hz[:, -2]
    assert (first[0] > first[1]) != (last[0] > last[1])
    assert max(_errors_cents(frames, found, cycles)) < 0.6


def test_a_run_too_short_has_no_pair() -> None:
    frames, _ = _take(1, (_drift(3.0, 3.0, 1), _drift(-3.0, -3.0, 2)))
    rows = np.arange(8)
    assert tenor_pair(frames, np.full(8, _CENTRE_HZ), rows, None) is None
