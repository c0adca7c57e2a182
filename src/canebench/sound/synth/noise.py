"""Noise of rooms and of breath. Guarded by `tests/analytic/test_synth.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.synth.playing.courses import fast_size

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: How deeply noise is modulated at the reed's own pace.
_PUFFS: Final = 0.7


def pink(count: int, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """1/f noise above 50 Hz with an RMS of 1."""
    size = fast_size(count)
    freq = np.fft.rfftfreq(size, 1 / rate_hz)
    shape = np.where(freq < 50.0, 0.0, 1 / np.sqrt(np.maximum(freq, 50.0)))
    noise = np.fft.irfft(shape * np.fft.rfft(rng.standard_normal(size)), size)[:count]
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))


def breath(count: int, rate_hz: float, centre_hz: float, rng: np.random.Generator) -> FloatArray:
    """A broad hump of noise about `centre_hz`, an octave to either side, with an RMS of 1."""
    size = fast_size(count)
    freq = np.fft.rfftfreq(size, 1 / rate_hz)
    away = np.log2(np.maximum(freq, 20.0) / centre_hz)
    parts = rng.standard_normal((2, freq.size))
    noise = np.fft.irfft((parts[0] + 1j * parts[1]) / (1.0 + away**2), size)[:count]
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))


def reed_noise(
    count: int, rate_hz: float, cycles: FloatArray, centre_hz: float, rng: np.random.Generator
) -> FloatArray:
    """Breath that comes in puffs, as the reed opens once a cycle; RMS near 1."""
    puffs = (1.0 + _PUFFS * np.cos(2 * np.pi * cycles)) / np.sqrt(1.0 + _PUFFS**2 / 2)
    return np.asarray(puffs * breath(count, rate_hz, centre_hz, rng))
