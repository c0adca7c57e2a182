"""What the samples say before any pitch is sought: level, clipping, evenness of the spectrum, band.

Gathered block by block at the recording's own rate, so that the length of a take costs no memory.
Guarded by `tests/analytic/test_level.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.files.recording import Recording

#: Samples within this of the take's own peak and lying in runs are flat tops.
_FLAT = 1e-4
_FLAT_RUN = 3
_SPECTRUM = 4096
_BAND_HZ = 250.0
#: A take of which a larger share is clipped is refused.
MOST_CLIPPED = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """Level of a take.

    Attributes
    ----------
    peak, rms : number, 0 to 1 (more only in float files)
    clipped : number, 0 to 1
        Share of the samples that lie in flat tops at the take's own peak.
    flatness : number, 0 to 1
        Geometric over arithmetic mean of the power spectrum from 100 Hz to 8 kHz (or to the top):
        near 1 for white noise (Johnston 1988).
    cutoff_hz : number or None
        Where the spectrum falls off a cliff well below half the sample rate.
    line_share : number, 0 to 1
        Share of the power in the strongest line.
    """

    peak: float
    rms: float
    clipped: float
    flatness: float
    cutoff_hz: float | None
    line_share: float


def level_of(recording: Recording) -> Level:
    """Walk through the recording once."""
    peak, square, flat = 0.0, 0.0, 0
    power = np.zeros(_SPECTRUM // 2 + 1)
    window = np.hanning(_SPECTRUM + 1)[:-1]
    for block in recording.blocks():
        peak = max(peak, float(np.max(np.abs(block), initial=0.0)))
        square += float(np.dot(block, block))
        cut = block[: len(block) // _SPECTRUM * _SPECTRUM].reshape(-1, _SPECTRUM)[::4]
        power += np.sum(np.abs(np.fft.rfft(cut * window, axis=1)) ** 2, axis=0)
    if peak > 0:
        flat = sum(_flat_tops(block, peak) for block in recording.blocks())
    count = max(1, len(recording.samples))
    bin_hz = recording.rate_hz / _SPECTRUM
    band = power[max(2, int(100 / bin_hz)) : int(min(8000.0, 0.45 * recording.rate_hz) / bin_hz)] + 1e-30
    return Level(
        peak=peak,
        rms=float(np.sqrt(square / count)),
        clipped=flat / count,
        flatness=float(np.exp(np.mean(np.log(band))) / np.mean(band)),
        cutoff_hz=_cutoff_hz(power, bin_hz),
        line_share=_line_share(band),
    )


def _flat_tops(block: FloatArray, peak: float) -> int:
    """Samples at the peak that have neighbours there too: a round top has one or two."""
    at_peak = np.abs(block) > peak * (1 - _FLAT)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at_peak.astype(np.int8), [0]])))
    runs = edges[1::2] - edges[::2]
    return int(np.sum(runs[runs >= _FLAT_RUN]))


def _line_share(power: FloatArray) -> float:
    top = int(np.argmax(power))
    return float(np.sum(power[max(0, top - 3) : top + 4]) / np.sum(power))


def _cutoff_hz(power: FloatArray, bin_hz: float) -> float | None:
    """Frequency above which every band lies 40 dB below the one under it and stays there, or None."""
    width = max(4, round(_BAND_HZ / bin_hz))
    bands = len(power) // width
    if bands < 12 or not np.any(power > 0):
        return None
    level = 10 * np.log10(np.max(power[: bands * width].reshape(bands, width), axis=1) + 1e-30)
    for band in range(6, int(0.8 * bands)):
        below, above = np.max(level[band - 3 : band]), np.max(level[band + 1 :])
        if below - above > 40.0 and below > np.max(level) - 50.0:
            return float(band * width * bin_hz)
    return None
