"""What a telephone's voice setting does: a band limit, noise suppression and a quick automatic gain."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.ndimage import minimum_filter1d
from scipy.signal import butter, istft, resample_poly, sosfilt, stft

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_BAND_HZ: Final = (300.0, 3400.0)
#: The suppressor's frames, how long a sound must last to pass for noise, and by what it is lowered at most.
_FRAME_S, _NOISE_S, _FLOOR_DB = 0.032, 1.5, -8.0
#: The gain's attack and release, and what it leaves of a difference in level.
_ATTACK_S, _RELEASE_S, _LEFT = 0.005, 0.25, 0.4


def as_by_telephone(samples: FloatArray, rate_hz: float, *, narrow: bool) -> tuple[FloatArray, float]:
    """The samples and rate that are stored; `narrow` stores at 8 kHz, else at the rate given."""
    band = sosfilt(butter(4, _BAND_HZ, "bandpass", fs=rate_hz, output="sos"), samples)
    played = _levelled(_suppressed(band, rate_hz), rate_hz)
    if not narrow:
        return played, rate_hz
    return np.asarray(resample_poly(played, 80, 441) if rate_hz == 44_100 else played), 8_000.0


def _suppressed(samples: FloatArray, rate_hz: float) -> FloatArray:
    """Whatever has stood for long in a band is taken for noise and lowered: drones suffer, notes hardly."""
    size = round(_FRAME_S * rate_hz)
    _, _, spectra = stft(samples, rate_hz, nperseg=size)
    level = np.abs(spectra)
    frames = round(_NOISE_S * rate_hz / (size / 2))
    noise = minimum_filter1d(level, frames, axis=1, origin=(frames - 1) // 2)
    gain = np.clip(1 - noise / (level + 1e-12), 10 ** (_FLOOR_DB / 20), 1.0)
    _, clean = istft(spectra * gain, rate_hz, nperseg=size)
    return np.asarray(clean[: len(samples)])


def _levelled(samples: FloatArray, rate_hz: float) -> FloatArray:
    """A compressor: quick when it gets louder, slower back; its envelope runs at 1 ms."""
    hop = round(rate_hz / 1000)
    power = np.abs(samples[: len(samples) // hop * hop]).reshape(-1, hop).max(axis=1)
    envelope = np.empty(len(power))
    held = float(np.median(power))
    for i, value in enumerate(power):
        held += (value - held) * (1e-3 / (_ATTACK_S if value > held else _RELEASE_S))
        envelope[i] = held
    gain = (envelope / np.median(envelope) + 1e-3) ** (_LEFT - 1)
    return np.asarray(samples * np.interp(np.arange(len(samples)), (np.arange(len(gain)) + 0.5) * hop, gain))
