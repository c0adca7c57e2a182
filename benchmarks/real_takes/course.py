"""The pitch of an isolated note, found before anything is mixed: the truth of `benchmarks/real`.

A heterodyne: each partial is turned down by its expected phase and smoothed by a 60 ms Hann window; what
phase is left corrects the expectation. The fundamental's course is the partials' mean, weighted by
(k amplitude)^2 as is best in even noise (Rife & Boorstyn 1974). No code is shared with the package.
Guarded by `tests/analytic/test_note_courses.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.signal import resample_poly

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray

STEP_S: Final = 0.002
_STEPS_TO_EDGE: Final = 15
#: Highest partial of each pass: the low ones follow a pitch that is far from the first guess. The last is
#: repeated until nothing moves by so many cycles.
_PASSES: Final = (4, 10, 24, 24, 24, 24, 24, 24)
_SETTLED_CYCLES: Final = 1e-3
#: Partials are looked at up to here; the recording is brought down to the rate that they need.
_TOP_HZ, _ENOUGH_RATE_HZ, _TOP_OF_RATE = 9_000.0, 22_000.0, 0.45
#: Partials below this beside the strongest are left out, and all but so many of the heaviest.
_WEAK, _MOST = 0.003, 12
_LOWEST_HZ, _HIGHEST_HZ = 60.0, 1500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Phase of a fundamental in cycles, every `step_s` from the start.

    `halves` is by how many cycles one half of the partials used, every second by weight, is ahead of the
    other: they share the note but not their errors, so their disagreement tells how good this truth is.
    """

    step_s: float
    cycles: FloatArray
    halves: FloatArray

    def at(self, time_s: FloatArray) -> FloatArray:
        """Cycles at `time_s`; straight on beyond the ends."""
        return _on_grid(self.cycles, time_s, self.step_s)

    def read(self, time_s: FloatArray) -> Course:
        """The course of what is read from this one's recording at `time_s`, one step apart."""
        return Course(
            step_s=self.step_s, cycles=self.at(time_s), halves=_on_grid(self.halves, time_s, self.step_s)
        )

    def mean_hz(self, start_s: float, end_s: float) -> float:
        """Phase gained over a span by its length, Hz."""
        first, last = self.at(np.array([start_s, end_s]))
        return float((last - first) / (end_s - start_s))

    def unsure_cycles(self, start_s: float, end_s: float) -> float:
        """Uncertainty of the phase gained over a span: half of what the two halves disagree by."""
        first, last = _on_grid(self.halves, np.array([start_s, end_s]), self.step_s)
        return float((last - first) / 2)

    def waver_cents(self, start_s: float, end_s: float) -> float:
        """RMS of the pitch about its mean within a span, cents; 60 ms from its ends, smoothed as long."""
        time_s = np.arange(start_s + 0.06, end_s - 0.06, self.step_s)
        if len(time_s) < 2:
            return 0.0
        freq_hz = (self.at(time_s + 0.03) - self.at(time_s - 0.03)) / 0.06
        return float(np.std(1200 * np.log2(freq_hz / np.mean(freq_hz))))


def _on_grid(values: FloatArray, time_s: FloatArray, step_s: float) -> FloatArray:
    place = np.asarray(time_s) / step_s
    low = np.clip(np.floor(place).astype(int), 0, len(values) - 2)
    return np.asarray(values[low] + (place - low) * np.diff(values)[low])


def course_of(samples: FloatArray, rate_hz: float, rough_hz: float) -> Course:
    """Follow the fundamental of `samples` from a rough guess of it."""
    factor = max(1, int(rate_hz // _ENOUGH_RATE_HZ))
    if factor > 1:
        return course_of(resample_poly(samples, 1, factor), rate_hz / factor, rough_hz)
    step = round(rate_hz * STEP_S)
    grid = np.arange(0, len(samples) + step, step)
    cycles = grid * (rough_hz / rate_hz)
    halves = np.zeros(len(grid))
    for highest in _PASSES:
        top = max(1, min(highest, int(min(_TOP_HZ, _TOP_OF_RATE * rate_hz) / rough_hz)))
        partials = np.arange(1, top + 1)
        expected = np.interp(np.arange(len(samples)), grid, cycles)
        turned = _turned(samples, expected, partials, step)
        kept = _heaviest(turned, partials)
        short = _gained(turned[kept], partials[kept])
        cycles = cycles + short
        if len(kept) > 1:
            halves = _gained(turned[kept[::2]], partials[kept[::2]]) - _gained(
                turned[kept[1::2]], partials[kept[1::2]]
            )
        if highest == _PASSES[-1] and np.ptp(short) < _SETTLED_CYCLES:
            break
    return Course(step_s=step / rate_hz, cycles=cycles, halves=halves)


def _turned(samples: FloatArray, expected: FloatArray, partials: IntArray, step: int) -> ComplexArray:
    """Each partial turned down by its expected phase and Hann-smoothed [shape=(partials, steps)]."""
    window = np.hanning(2 * _STEPS_TO_EDGE * step + 1)
    # Its last point is 0: it is a whole number of steps long.
    by_step = (window / np.sum(window))[:-1].reshape(-1, step).astype(np.float32)
    # The last grid point may lie up to a step beyond the last sample.
    steps = -(-len(samples) // step) + 1
    around = (_STEPS_TO_EDGE * step, (steps + _STEPS_TO_EDGE) * step - len(samples))
    turn = np.pad(np.exp(-2j * np.pi * expected), around).astype(np.complex64)
    product = np.pad(samples, around).astype(np.complex64)
    found = np.zeros((len(partials), steps), dtype=complex)
    for row in range(len(partials)):
        product = product * turn
        parts = product.reshape(-1, step)
        shares = parts.real @ by_step.T + 1j * (parts.imag @ by_step.T)
        for place in range(len(by_step)):
            found[row] += shares[place : place + steps, place]
    return found


def _heaviest(turned: ComplexArray, partials: IntArray) -> IntArray:
    """Places of the partials that weigh most, heaviest first."""
    level = np.median(np.abs(turned), axis=1)
    heavy = np.argsort(partials * level)[::-1]
    return np.array([i for i in heavy if level[i] > _WEAK * level.max()][:_MOST])


def _gained(turned: ComplexArray, partials: IntArray) -> FloatArray:
    """Cycles of the fundamental by which the expectation was short, from phases gained step by step."""
    k = partials[:, None].astype(float)
    steps = turned[:, 1:] * np.conj(turned[:, :-1])
    weight = k**2 * np.abs(steps) + 1e-30
    mean = np.sum(weight * np.angle(steps) / (2 * np.pi * k), axis=0) / np.sum(weight, axis=0)
    return np.concatenate([[0.0], np.cumsum(mean)])


def rough_pitch_hz(samples: FloatArray, rate_hz: float) -> float:
    """The fundamental by autocorrelation: the first peak nearly as high as the highest, in the middle half.

    Median of many frames of 0.1 s, each over its window's own autocorrelation (Boersma 1993).
    """
    size = round(0.1 * rate_hz)
    window = np.hanning(size)
    quarter = len(samples) // 4
    starts = np.linspace(quarter, max(quarter, 3 * quarter - size), 25).astype(int)
    own = _autocorrelation(window)
    found = [_first_peak(_autocorrelation(samples[s : s + size] * window) / own, rate_hz) for s in starts]
    return float(np.median(found))


def _autocorrelation(part: FloatArray) -> FloatArray:
    size = 1 << int(np.ceil(np.log2(2 * len(part))))
    whole = np.fft.irfft(np.abs(np.fft.rfft(part, size)) ** 2)[: len(part)]
    return np.asarray(whole / whole[0])


def _first_peak(curve: FloatArray, rate_hz: float) -> float:
    low, high = int(rate_hz / _HIGHEST_HZ), int(rate_hz / _LOWEST_HZ)
    inner = curve[low : high + 1]
    peaks = np.flatnonzero((inner[1:-1] > inner[:-2]) & (inner[1:-1] >= inner[2:])) + 1
    if not len(peaks):
        return rate_hz / (low + int(np.argmax(inner)))
    first = int(peaks[np.argmax(inner[peaks] > 0.92 * np.max(inner[peaks]))])
    left, mid, right = inner[first - 1 : first + 2]
    return float(rate_hz / (low + first + 0.5 * (left - right) / (left - 2 * mid + right)))


def joined(courses: Sequence[Course], weights: Sequence[FloatArray]) -> Course:
    """The phase where one gives way to the next, each weighted as it sounds; in step where they meet.

    Whole cycles between two are chosen so that they are nearest where both sound alike.
    """
    cycles, halves = courses[0].cycles * weights[0], courses[0].halves * weights[0]
    shift = np.zeros(2)
    for (before, course), (left, weight) in zip(pairwise(courses), pairwise(weights), strict=True):
        meet = int(np.argmax(left * weight))
        shift += before.cycles[meet] - course.cycles[meet], before.halves[meet] - course.halves[meet]
        shift[0] = round(shift[0])
        cycles = cycles + weight * (course.cycles + shift[0])
        halves = halves + weight * (course.halves + shift[1])
    return Course(step_s=courses[0].step_s, cycles=cycles, halves=halves)
