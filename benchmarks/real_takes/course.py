"""The pitch of an isolated note, found before anything is mixed: the truth of `benchmarks/real`.

A heterodyne: each partial is turned down by its expected phase and smoothed by a 60 ms Hann window; what phase is
left corrects the expectation. The fundamental's course is the partials' mean, weighted by (k amplitude)^2 as is
best in even noise (Rife & Boorstyn 1974). No code is shared with the package.
Guarded by `tests/analytic/test_real_takes.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.signal import upfirdn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray

STEP_S: Final = 0.002
_STEPS_TO_EDGE: Final = 15
#: Highest partial of each pass: the low ones follow a pitch that is far from the first guess. The last is
#: repeated until nothing moves by so many cycles.
_PASSES: Final = (4, 10, 24, 24, 24, 24, 24, 24)
_SETTLED_CYCLES: Final = 1e-3
_TOP_HZ, _TOP_OF_RATE = 10_000.0, 0.45
#: Partials below this beside the strongest are left out, and all but so many of the heaviest.
_WEAK, _MOST = 0.003, 12
_LOWEST, _HIGHEST = 60.0, 1500.0

Subset = Literal["all", "odd", "even"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Phase of a fundamental in cycles, every `step_s` from the start."""

    step_s: float
    cycles: FloatArray

    @property
    def duration_s(self) -> float:
        """Time that the course covers."""
        return (len(self.cycles) - 1) * self.step_s

    def at(self, time_s: FloatArray) -> FloatArray:
        """Cycles at `time_s`; straight on beyond the ends."""
        place = np.asarray(time_s) / self.step_s
        low = np.clip(np.floor(place).astype(int), 0, len(self.cycles) - 2)
        return np.asarray(self.cycles[low] + (place - low) * np.diff(self.cycles)[low])

    def mean_hz(self, start_s: float, end_s: float) -> float:
        """Phase gained over a span by its length, Hz."""
        first, last = self.at(np.array([start_s, end_s]))
        return float((last - first) / (end_s - start_s))

    def waver_cents(self, start_s: float, end_s: float) -> float:
        """RMS of the pitch about its mean within a span, cents; 60 ms from its ends and smoothed as long."""
        time = np.arange(start_s + 0.06, end_s - 0.06, self.step_s)
        if len(time) < 2:
            return 0.0
        freq = (self.at(time + 0.03) - self.at(time - 0.03)) / 0.06
        return float(np.std(1200 * np.log2(freq / np.mean(freq))))


def course_of(samples: FloatArray, rate_hz: float, rough_hz: float, *, subset: Subset = "all") -> Course:
    """Follow the fundamental of `samples` from a rough guess; `subset` keeps the odd or even partials alone."""
    step = round(rate_hz * STEP_S)
    count = len(samples)
    grid = np.arange(0, count + step, step)
    cycles = grid * (rough_hz / rate_hz)
    for highest in _PASSES:
        top = max(1, min(highest, int(min(_TOP_HZ, _TOP_OF_RATE * rate_hz) / rough_hz)))
        last = highest == _PASSES[-1]
        partials = [k for k in range(1, top + 1) if not last or _belongs(k, subset)]
        expected = np.interp(np.arange(count), grid, cycles)
        turned = _turned(samples, expected, partials, step)[:, : len(grid)]
        short = _correction(turned, np.array(partials, dtype=float))
        cycles = cycles + short
        if last and np.ptp(short) < _SETTLED_CYCLES:
            break
    return Course(step_s=step / rate_hz, cycles=cycles)


def _belongs(k: int, subset: Subset) -> bool:
    return subset == "all" or (k % 2 == 1) == (subset == "odd")


def _turned(samples: FloatArray, expected: FloatArray, partials: Sequence[int], step: int) -> ComplexArray:
    """Each partial turned down by its expected phase, Hann-smoothed, every `step` samples [shape=(k, steps)]."""
    window = np.hanning(2 * _STEPS_TO_EDGE * step + 1)
    window /= np.sum(window)
    turn = np.exp(-2j * np.pi * expected)
    # The last grid point may lie up to a step beyond the last sample.
    product = np.pad(samples, (0, step)).astype(complex)
    turn = np.pad(turn, (0, step))
    found = []
    for k in range(1, max(partials) + 1):
        product = product * turn
        if k in partials:
            found.append(upfirdn(window, product, 1, step)[_STEPS_TO_EDGE:-_STEPS_TO_EDGE])
    return np.array(found)


def _correction(turned: ComplexArray, partials: FloatArray) -> FloatArray:
    """Cycles of the fundamental by which the expectation was short, from phases gained step by step."""
    level = np.median(np.abs(turned), axis=1)
    heavy = np.argsort(partials * level)[::-1]
    kept = np.array([i for i in heavy if level[i] > _WEAK * level.max()][:_MOST])
    chosen, k = turned[kept], partials[kept, None]
    gained = chosen[:, 1:] * np.conj(chosen[:, :-1])
    weight = k**2 * np.abs(gained) + 1e-30
    steps = np.sum(weight * np.angle(gained) / (2 * np.pi * k), axis=0) / np.sum(weight, axis=0)
    return np.concatenate([[0.0], np.cumsum(steps)])


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
    low, high = int(rate_hz / _HIGHEST), int(rate_hz / _LOWEST)
    inner = curve[low : high + 1]
    peaks = np.flatnonzero((inner[1:-1] > inner[:-2]) & (inner[1:-1] >= inner[2:])) + 1
    if not len(peaks):
        return rate_hz / (low + int(np.argmax(inner)))
    first = int(peaks[np.argmax(inner[peaks] > 0.92 * np.max(inner[peaks]))])
    left, mid, right = inner[first - 1 : first + 2]
    return float(rate_hz / (low + first + 0.5 * (left - right) / (left - 2 * mid + right)))
