"""Tenors that hold still, as lines of a spectrum as long as the run.

Partials are laid over each other on the fundamental's axis: two tenors a cent apart part by 0.14 Hz in the
first partial but by 1.1 Hz in the eighth. Guarded by `tests/analytic/test_drones.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.dsp.harmonic_source import integral, partial_numbers, phasors
from canebench.sound.dsp.stft import amplitudes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.dsp.stft import Frames

_LINE_PARTIALS = 8
#: How far from its place a tenor is sought (90 cents), and how far around what was found first.
_LINE_REACH_HZ, _LINE_AGAIN_HZ = 12.5, 1.0


def read_along(
    frames: Frames, freq_hz: float, numbers: IntArray, rows: IntArray, warp: FloatArray
) -> ComplexArray:
    """Partials of a comb on the course `freq_hz` times `warp`, demodulated."""
    read = amplitudes(frames, np.outer(freq_hz * warp, numbers), rows)
    return read * phasors(freq_hz * integral(warp, frames.hop_s), numbers).conj()


def tenor_lines(
    frames: Frames, centre_hz: float, rows: IntArray, warp: FloatArray
) -> tuple[float, list[float]]:
    """Pitches of the two strongest lines near `centre_hz`, Hz, and how much the first gathers.

    From spectra as long as the run. Partials are laid over each other on the fundamental's axis: the
    sidebands of a wander fall at different places in each, the carriers at one. The lines follow `warp`
    [shape=(frames,)], a course of ratios about 1.
    """
    numbers = partial_numbers(centre_hz, frames.top_hz, _LINE_PARTIALS)
    time = integral(warp, frames.hop_s)
    found: list[float] = []
    gathered: list[float] = []
    for _ in range(2):
        near_hz = centre_hz
        # Far from the centre only the first partials are read whole: go there and look again.
        for reach_hz in (_LINE_REACH_HZ, _LINE_AGAIN_HZ):
            readings = read_along(frames, near_hz, numbers, rows, warp)
            rest = _less(readings, [phasors((hz - near_hz) * time, numbers) for hz in found])
            nu, score = _line_score(rest, numbers, frames.hop_s, reach_hz)
            near_hz += float(nu[np.argmax(score)])
        found.append(near_hz)
        gathered.append(float(np.max(score)))
    return gathered[0], found


def _less(readings: ComplexArray, lines: Sequence[ComplexArray]) -> ComplexArray:
    """The readings without steady lines, each partial by least squares."""
    rest = readings.copy()
    if not lines:
        return rest
    for k in range(readings.shape[1]):
        columns = np.stack([line[:, k] for line in lines], axis=1)
        rest[:, k] -= columns @ np.linalg.lstsq(columns, readings[:, k], rcond=None)[0]
    return rest


def _line_score(
    readings: ComplexArray, numbers: IntArray, hop_s: float, reach_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Candidate steps of the fundamental, Hz, and the amplitude they gather over all partials."""
    frames = len(readings)
    tapered = readings * np.hanning(frames + 2)[1:-1][:, None]
    size = 1 << int(np.ceil(np.log2(4 * frames)))
    level = np.abs(np.fft.fft(tapered, size, axis=0)) / np.sqrt(np.sum(np.abs(tapered) ** 2, axis=0) + 1e-30)
    width = 1 / (size * hop_s)
    nu = np.arange(-reach_hz, reach_hz, width / 4)
    score, count = np.zeros(len(nu)), np.zeros(len(nu))
    for column, number in enumerate(numbers):
        # Beyond two bins of the short window the reading no longer holds the line.
        usable = np.abs(number * nu) < 20.0
        at = (number * nu / width) % size
        score += np.where(usable, np.interp(at, np.arange(size), level[:, column], period=size), 0.0)
        count += usable
    # Between the sum, which slights a line far from the centre, and the mean, which trusts one partial.
    return nu, score / np.sqrt(count)
