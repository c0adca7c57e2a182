"""Slow random courses: how an arm, a breath and a reed move pitch, level and phase.

A waver has the spectrum f**-1.5 from 0.1 to 6 Hz: nine tenths of it below 2 Hz, as recordings of pipes show.
What is slower is drift. Courses lie on a grid of 100 Hz, long enough that their figures are those asked
even where the take is short. Guarded by `tests/analytic/test_courses.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

GRID_HZ: Final = 100.0
#: Below this a course would be too short for its own slowest parts.
_SHORTEST_S: Final = 60.0
_DRIFT_SHORTEST_S: Final = 200.0
_RANGE_S: Final = 10.0
_CREEP_S: Final = 2.0


def waver(duration_s: float, rng: np.random.Generator, *, rows: int = 1) -> FloatArray:
    """Courses of RMS 1 with an arm's spectrum, one a row."""
    course = _shaped(max(duration_s, _SHORTEST_S), rng, rows=rows, band_hz=(0.1, 6.0), fall=1.5)
    return np.asarray(course / np.sqrt(np.mean(course**2, axis=1, keepdims=True)))


def drift(duration_s: float, rng: np.random.Generator) -> FloatArray:
    """A course below 0.1 Hz whose range in ten seconds is 1 (the median of its stretches)."""
    course = _shaped(max(duration_s, _DRIFT_SHORTEST_S), rng, rows=1, band_hz=(0.02, 0.08), fall=2.0)[0]
    return np.asarray(course / range_in_ten_seconds(course))


def creep(duration_s: float, rng: np.random.Generator, *, rows: int) -> FloatArray:
    """Courses whose change in two seconds is 1 RMS, nearly random walks; one a row."""
    course = _shaped(max(duration_s, _SHORTEST_S), rng, rows=rows, band_hz=(0.03, 2.0), fall=2.0)
    lag = round(_CREEP_S * GRID_HZ)
    change = course[:, lag:] - course[:, :-lag]
    return np.asarray(course / np.sqrt(np.mean(change**2, axis=1, keepdims=True)))


def range_in_ten_seconds(course: FloatArray) -> float:
    """Highest less lowest value in ten seconds, the median over the course."""
    size = round(_RANGE_S * GRID_HZ)
    starts = range(0, len(course) - size + 1, size // 4)
    return float(np.median([np.ptp(course[start : start + size]) for start in starts]))


def at(course: FloatArray, time_s: FloatArray) -> FloatArray:
    """A course's values at these times."""
    return np.asarray(np.interp(time_s * GRID_HZ, np.arange(len(course)), course))


def cycles_of(freq_hz: FloatArray, rate_hz: float) -> FloatArray:
    """Phase over 2 pi, sample by sample, of a course of frequencies; 0 at the first sample."""
    return np.asarray(np.concatenate([[0.0], np.cumsum(freq_hz)[:-1]]) / rate_hz)


def fast_size(count: int) -> int:
    """The next size with small prime factors, for which the FFT is quick."""
    power = 1 << (count - 1).bit_length()
    return min(size for size in (power, power // 8 * 5, power // 4 * 3, power // 16 * 15) if size >= count)


def _shaped(
    duration_s: float, rng: np.random.Generator, *, rows: int, band_hz: tuple[float, float], fall: float
) -> FloatArray:
    """Gaussian noise with a power density of f**-fall in a band and nothing outside."""
    size = fast_size(int(np.ceil(duration_s * GRID_HZ)) + 2)
    freq = np.fft.rfftfreq(size, 1 / GRID_HZ)
    inside = (freq >= band_hz[0]) & (freq <= band_hz[1])
    density = np.where(inside, np.maximum(freq, band_hz[0]) ** -fall, 0.0)
    parts = rng.standard_normal((2, rows, freq.size))
    return np.asarray(np.fft.irfft(np.sqrt(density) * (parts[0] + 1j * parts[1]), size, axis=1))
