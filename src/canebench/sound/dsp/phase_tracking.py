"""Follow the frequency of a comb through windows of a second or less, without any phase to start from.

In each window the candidate frequency is scored by the coherent share of energy of each partial,
sum over k of |sum_t w z_k exp(-2 pi i k nu t)|^2 / (sum_t w |z_k|^2 sum_t w + q^2): a partial that another
source disturbs can lose no more than its own share, and one that is hardly there (q, 20 dB below the
strongest) has none: noise is coherent with some frequency in any short window.
Guarded by `tests/published/test_bound.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray, IntArray

#: Power below the strongest partial's at which a partial counts half.
_FAINT = 0.01


def follow(
    readings: ComplexArray,
    numbers: IntArray,
    hop_s: float,
    *,
    window: int,
    step: int,
    reach_hz: float,
    grid_hz: float,
) -> FloatArray:
    """Frequency step (Hz, of the fundamental) at each frame against the frequency demodulated already.

    Parameters
    ----------
    readings : complex array [shape=(m, k)]
        Partials, demodulated at a first guess.
    numbers : int array [shape=(k,)]
        Which partials they are, 1 the fundamental.
    hop_s : number
        Time between frames.
    window, step : int
        Frames in a window and between windows.
    reach_hz, grid_hz : number
        Half-width and step of the search.
    """
    count = len(readings)
    window = min(window, count)
    starts = np.unique(np.append(np.arange(0, count - window + 1, step), count - window))
    taper = np.hanning(window + 2)[1:-1]
    time = (np.arange(window) - (window - 1) / 2) * hop_s
    nu = np.arange(-reach_hz, reach_hz + grid_hz / 2, grid_hz)
    score = np.zeros((len(starts), len(nu)))
    faint = _FAINT * np.max(np.median(np.abs(readings) ** 2, axis=0)) * taper.sum() ** 2
    for column, number in enumerate(numbers):
        cut = readings[starts[:, None] + np.arange(window), column] * taper
        turned = cut @ np.exp(-2j * np.pi * number * np.outer(time, nu))
        energy = np.sum(np.abs(cut) ** 2 / taper, axis=1, keepdims=True) * taper.sum()
        score += np.abs(turned) ** 2 / np.maximum(energy + faint, 1e-30)
    centre = starts + (window - 1) / 2
    return np.interp(np.arange(count), centre, _peaks(score, nu))


def _peaks(score: FloatArray, nu: FloatArray) -> FloatArray:
    """Position of each row's maximum, refined by a parabola."""
    top = np.clip(np.argmax(score, axis=1), 1, len(nu) - 2)
    rows = np.arange(len(score))
    left, mid, right = score[rows, top - 1], score[rows, top], score[rows, top + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, 1.0), 0.0)
    return np.asarray(nu[top] + np.clip(shift, -1, 1) * (nu[1] - nu[0]))
