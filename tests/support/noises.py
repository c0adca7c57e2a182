"""Sounds that are no pipes: hum, and speech-like glides, made here."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: Three resonances of five vowels, Hz (Peterson & Barney 1952, rounded).
_VOWELS = ((730, 1090, 2440), (270, 2290, 3010), (530, 1840, 2480), (570, 840, 2410), (300, 870, 2240))
_WIDTHS_HZ = (80.0, 100.0, 140.0)


def hum(mains_hz: float, rate_hz: float, duration_s: float, *, seed: int) -> FloatArray:
    """Mains hum with multiples up to 3 kHz that fall by 6 dB an octave, and a little noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    signal = 1e-3 * rng.standard_normal(len(time_s))
    for k in range(1, int(3_000 / mains_hz)):
        signal += 0.2 / k * np.cos(2 * np.pi * k * mains_hz * time_s + rng.uniform(0, 2 * np.pi))
    return signal


def speech(rate_hz: float, duration_s: float, *, seed: int) -> FloatArray:
    """Syllables of 0.12 to 0.4 s: pulses at 90 to 250 Hz that rise and fall, through moving resonances."""
    rng = np.random.default_rng(seed)
    parts: list[FloatArray] = []
    voice_hz = float(rng.uniform(100, 210))
    while sum(len(part) for part in parts) < duration_s * rate_hz:
        parts.append(_syllable(rate_hz, voice_hz, rng))
        parts.append(np.zeros(round(rng.choice([0.03, 0.05, 0.3]) * rate_hz)))
    whole = np.concatenate(parts)[: round(duration_s * rate_hz)]
    whole = 0.4 * whole / np.max(np.abs(whole))
    return np.asarray(whole + 3e-4 * rng.standard_normal(len(whole)))


def _syllable(rate_hz: float, voice_hz: float, rng: np.random.Generator) -> FloatArray:
    count = round(rng.uniform(0.12, 0.4) * rate_hz)
    place = np.linspace(0, 1, count)
    bend = rng.uniform(-0.25, 0.25) * place + rng.uniform(-0.15, 0.15) * np.sin(np.pi * place)
    freq_hz = np.clip(voice_hz * rng.uniform(0.85, 1.2) * np.exp2(bend), 90, 250)
    cycles = np.cumsum(freq_hz) / rate_hz
    pulses = np.diff(np.floor(cycles), prepend=0.0)
    pulses += 0.02 * rng.standard_normal(count)
    first, last = (np.array(_VOWELS[i], dtype=float) for i in rng.integers(0, len(_VOWELS), 2))
    spectra = [
        np.fft.irfft(np.fft.rfft(pulses, 2 * count) * _tract(formants, 2 * count, rate_hz))[:count]
        for formants in (first, last)
    ]
    return np.asarray(((1 - place) * spectra[0] + place * spectra[1]) * np.sin(np.pi * place) ** 0.5)


def _tract(formants_hz: FloatArray, size: int, rate_hz: float) -> FloatArray:
    """Magnitude of three resonances in cascade, over a source that falls by 12 dB an octave from 100 Hz."""
    freq = np.fft.rfftfreq(size, 1 / rate_hz)
    gain = 1 / (1 + (freq / 300.0) ** 2)
    for centre, width in zip(formants_hz, _WIDTHS_HZ, strict=True):
        gain = gain * centre**2 / np.hypot(centre**2 - freq**2, width * freq)
    return np.asarray(gain)
