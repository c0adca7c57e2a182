"""Breaks in a stream that no counter tells: a run of samples left out or played twice.

Across a break the phase of every steady partial jumps at once, drones and chanter alike, while their pitches
go on. With f the frequency read before and after from frames a window apart, a steady partial advances by
2 pi (f_before + f_after) / 2 * T; what it is off by is its jump. A change of note moves pitches, so its
partials are not counted. Guarded by `tests/analytic/test_dropouts.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.dsp.stft import amplitudes_at

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.sound.dsp.stft import Frames

#: Frames from one window to the next that shares none of its samples.
_APART: Final = 4
#: The frames that are read: two before the place, two after it, and a hop between for the break to fall in.
_READ: Final = np.array([0, _APART, 2 * _APART + 1, 3 * _APART + 1])
SPAN: Final = int(_READ[-1]) + 1
_PARTIALS: Final = 12
#: No line of a chanter lies below this.
_CHANTER_HZ: Final = 300.0
#: A partial counts where its amplitude stays within this ratio, and its frequency within this many Hz or, as
#: blowing wavers, this share of it (4 cents).
_LEVEL: Final = 1.6
_DRIFT_HZ, _DRIFT = 0.35, 2.5e-3
#: Cycles of jump that a steady partial never has (more for higher ones), and how many must count and jump.
_JUMP, _JUMP_PER_HZ = 0.06, 5e-5
_LEAST: Final = 3
_SHARE: Final = 0.7


def breaks(frames: Frames) -> list[float]:
    """Times (s) of the breaks that consecutive frames show; at least `SPAN` of them are needed."""
    found: list[float] = []
    for first in range(frames.count - SPAN + 1):
        if _jumps(frames, first):
            at = frames.start_s + frames.hop_s * (first + (SPAN - 1) / 2)
            # The same break shows in every window that holds it.
            if not found or at - found[-1] > 2 * _APART * frames.hop_s:
                found.append(at)
    return found


def _jumps(frames: Frames, first: int) -> bool:
    lines = _lines(np.abs(frames.spectrum[first])) * frames.bin_hz
    if len(lines) < _LEAST:
        return False
    span_s = (_APART + 1) * frames.hop_s
    every = amplitudes_at(frames.between(first, first + SPAN), lines)
    read = every[_READ]
    level = np.abs(read)
    steady = np.max(level, axis=0) < _LEVEL * np.min(level, axis=0)
    if np.count_nonzero(steady) < _LEAST:
        return False
    # Frequencies from the phases of neighbouring frames, where there is no doubt about whole cycles.
    # Drones hold their pitch, a blown note bends; what lies on both is too unsure to be bent with either.
    bends = lines[0] > _CHANTER_HZ
    runs = np.stack([every[: _APART + 1], every[-_APART - 1 :]])
    (before, after), (rise, fall) = _courses(runs, lines, frames.hop_s, bends=bends)
    steady &= np.abs(after - before) < np.maximum(_DRIFT_HZ, _DRIFT * lines)
    expected = span_s * (lines + (before + after) / 2) + span_s**2 * (rise - fall) / 12
    advance = np.angle(read[2] / read[1]) / (2 * np.pi) - expected
    jump = np.abs(advance - np.rint(advance))
    counted = np.count_nonzero(steady)
    return bool(
        counted >= _LEAST
        and np.count_nonzero((jump > _JUMP + _JUMP_PER_HZ * lines)[steady]) >= max(_LEAST, _SHARE * counted)
    )


def _courses(
    runs: ComplexArray, lines: FloatArray, hop_s: float, *, bends: bool
) -> tuple[FloatArray, FloatArray]:
    """How far each line is from where it was looked for at the inner ends of two runs, and their slopes.

    From the advance of its phase hop by hop: their mean, or a straight line through them where it `bends`.
    """
    step = runs[:, 1:] * runs[:, :-1].conj() * np.exp(-2j * np.pi * hop_s * lines)
    mean = np.angle(np.sum(step, axis=1))
    off = (mean[:, None] + np.angle(step * np.exp(-1j * mean)[:, None])) / (2 * np.pi * hop_s)
    middle = np.mean(off, axis=1)
    if not bends:
        return middle, np.zeros(middle.shape)
    time = hop_s * (np.arange(step.shape[1]) - (step.shape[1] - 1) / 2)
    slope = np.einsum("n,rnk->rk", time, off) / np.sum(time**2)
    edge = hop_s * step.shape[1] / 2 * np.array([[1.0], [-1.0]])
    return middle + slope * edge, slope


def _lines(level: FloatArray) -> FloatArray:
    """The strongest lines of a spectrum, in bins, by a parabola through the logarithms of three bins."""
    inner = level[1:-1]
    peaks = np.flatnonzero((inner > level[:-2]) & (inner >= level[2:])) + 1
    peaks = peaks[(peaks > 7) & (peaks < len(level) - 8)]
    if not len(peaks):
        return np.zeros(0)
    peaks = peaks[level[peaks] > 0.02 * level[peaks].max()]
    chosen = np.sort(peaks[np.argsort(level[peaks])[::-1][:_PARTIALS]])
    a, b, c = (np.log(level[chosen + offset] + 1e-12) for offset in (-1, 0, 1))
    return np.asarray(chosen + 0.5 * (a - c) / (a - 2 * b + c - 1e-12))
