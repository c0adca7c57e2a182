"""From a recording of any rate and length to sections at the analysis rate, with its level and clipping.

Sections bound the memory: half an hour of sound costs no more than one section at a time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.base.arrays import FloatArray, SampleArray
    from canebench.sound.files.recording import Recording

#: The band kept reaches 0.44 of the analysis rate: at least 9.2 kHz, twenty partials of low A. Those above
#: 2 kHz stand clear of the drones.
_LEAST_RATE_HZ = 21_000.0
#: Rows (output samples) of a block, and of the filter's reach at each side of it.
_BLOCK_ROWS, _EDGE_ROWS = 8192, 22
_SECTION_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A stretch of the take at the analysis rate. `start_s` is where it begins in the recording."""

    signal: FloatArray
    rate_hz: float
    start_s: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.signal) / self.rate_hz


def sections(recording: Recording) -> Iterator[Section]:
    """Equal stretches of at most some 37 s, low-passed and decimated by a whole factor."""
    factor = factor_for(recording.rate_hz)
    rate_hz = recording.rate_hz / factor
    count = max(1, math.ceil(recording.duration_s / (1.25 * _SECTION_S)))
    length = math.ceil(len(recording.samples) / count / factor) * factor
    parts: list[SampleArray] = []
    held, index = 0, 0
    for block in recording.blocks():
        parts.append(np.array(block))
        held += len(block)
        while held >= length:
            whole = np.concatenate(parts)
            yield Section(
                signal=_decimated(whole[:length], factor),
                rate_hz=rate_hz,
                start_s=index * length / recording.rate_hz,
            )
            parts, held, index = [whole[length:]], held - length, index + 1
    if held:
        yield Section(
            signal=_decimated(np.concatenate(parts), factor),
            rate_hz=rate_hz,
            start_s=index * length / recording.rate_hz,
        )


def offset_of(samples: FloatArray | SampleArray) -> float:
    """The recorder's offset: beside quiet pipes it is the loudest line of all, and a step at the ends.

    The mean is weighted (Hann), so that no tone takes part in it.
    """
    weight = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(len(samples)) + 0.5) / max(1, len(samples)))
    return float(weight @ samples) / max(float(np.sum(weight)), 1.0)


def _decimated(samples: SampleArray, factor: int) -> FloatArray:
    """Low-pass, without its offset, and keep every `factor`-th sample; the first is the input's first.

    Overlap-save: a block's spectrum is shaped, folded about half the low rate and turned back there. (Cut
    off instead of folded, the filter would ring through the whole block.)
    Guarded by `tests/analytic/test_decimation.py`.
    """
    samples = samples - np.float32(offset_of(samples))
    if factor == 1:
        return samples.astype(np.float64)
    rows = -(-len(samples) // factor)
    kept = _BLOCK_ROWS - 2 * _EDGE_ROWS
    blocks = -(-rows // kept)
    padded = np.zeros((blocks * kept + 2 * _EDGE_ROWS) * factor, dtype=np.float32)
    padded[_EDGE_ROWS * factor : _EDGE_ROWS * factor + len(samples)] = samples
    cut = np.lib.stride_tricks.sliding_window_view(padded, _BLOCK_ROWS * factor)[:: kept * factor]
    spectrum = np.fft.rfft(cut, axis=1)[:, : _BLOCK_ROWS + 1] * _response(factor)
    half = _BLOCK_ROWS // 2 + 1
    folded = spectrum[:, :half] + spectrum[:, : half - 2 : -1].conj()
    turned = np.fft.irfft(folded, _BLOCK_ROWS, axis=1) / factor
    return np.asarray(turned[:, _EDGE_ROWS : _EDGE_ROWS + kept].reshape(-1)[:rows])


def factor_for(rate_hz: float) -> int:
    """The whole factor by which a rate is decimated."""
    return max(1, int(rate_hz // _LEAST_RATE_HZ))


@cache
def taps_of(factor: int) -> FloatArray:
    """Kaiser-windowed sinc: flat to 0.44, 80 dB down from 0.56 of the low rate (Kaiser 1974); even length.

    The tap in the middle, at half the length, is the one of no delay.
    """
    length = 2 * _EDGE_ROWS * factor
    n = np.arange(length) - length // 2
    taps = np.sinc(n / factor) * np.kaiser(length + 1, 8.0)[:length]
    return np.asarray(taps / taps.sum())


@cache
def _response(factor: int) -> FloatArray:
    """What the taps do to the spectrum of a block, zero phase."""
    taps = taps_of(factor)
    centred = np.zeros(_BLOCK_ROWS * factor)
    centred[np.arange(len(taps)) - len(taps) // 2] = taps
    return np.asarray(np.fft.rfft(centred).real[: _BLOCK_ROWS + 1])
