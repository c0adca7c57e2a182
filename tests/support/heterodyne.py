"""A partial heard by heterodyne: turned down to 0 Hz and averaged over windows.

No code of the synth or of the measurement is in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray, SampleArray

STEP_S = 0.02


def against(
    samples: FloatArray | SampleArray, cycles: FloatArray, rate_hz: float, *, window_s: float = 0.1
) -> ComplexArray:
    """Amplitude and phase of what runs on `cycles`, every 20 ms, averaged over Hann windows."""
    size, step = round(window_s * rate_hz), round(STEP_S * rate_hz)
    window = np.hanning(size)
    beat = np.asarray(samples, dtype=float) * np.exp(-2j * np.pi * cycles)
    return np.asarray(2 * sliding_window_view(beat, size)[::step] @ (window / window.sum()))


def course_cents(
    samples: FloatArray | SampleArray, hz: float, rate_hz: float, *, window_s: float = 0.1
) -> FloatArray:
    """Pitch of the partial near `hz`, cents from `hz`, every 20 ms."""
    steady = hz * np.arange(len(samples)) / rate_hz
    phase = np.unwrap(np.angle(against(samples, steady, rate_hz, window_s=window_s)))
    return np.asarray(1200 * np.log2(1 + np.diff(phase) / (2 * np.pi * STEP_S * hz)))


def level_db(samples: FloatArray | SampleArray, rate_hz: float) -> FloatArray:
    """RMS of every 50 ms, dB."""
    size = round(0.05 * rate_hz)
    count = len(samples) // size
    blocks = np.asarray(samples, dtype=float)[: count * size].reshape(count, size)
    return np.asarray(10 * np.log10(np.mean(blocks**2, axis=1) + 1e-20))


def range_in(course: FloatArray, per_s: float, span_s: float) -> float:
    """Highest less lowest value in stretches of `span_s`, the median over the course."""
    size = round(span_s * per_s)
    return float(
        np.median([np.ptp(course[at : at + size]) for at in range(0, len(course) - size, size // 4)])
    )
