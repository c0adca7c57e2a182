"""A pure tone, and its amplitude and frequency read back without any code of ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import SampleArray

_BLOCKS = 40


def tone(hz: float, rate_hz: int, *, duration_s: float, amplitude: float = 0.5) -> SampleArray:
    """A cosine in float32."""
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    return (amplitude * np.cos(2 * np.pi * hz * time_s)).astype(np.float32)


def amplitude_and_hz(samples: SampleArray, rate_hz: float, near_hz: float) -> tuple[float, float]:
    """Amplitude and frequency of the tone near `near_hz`, from the slope of its phase against `near_hz`.

    The first and last eighth are left out: encoders fade and pad there.
    """
    edge = len(samples) // 8
    inner = samples[edge : len(samples) - edge].astype(np.float64)
    size = len(inner) // _BLOCKS
    inner = inner[: size * _BLOCKS]
    time_s = np.arange(len(inner)) / rate_hz
    beat = (inner * np.exp(-2j * np.pi * near_hz * time_s)).reshape(_BLOCKS, size)
    window = np.hanning(size)
    phasors = 2 * (beat * window).sum(axis=1) / window.sum()
    slope = np.polyfit(np.arange(_BLOCKS) * size / rate_hz, np.unwrap(np.angle(phasors)), 1)[0]
    return float(np.mean(np.abs(phasors))), near_hz + float(slope) / (2 * np.pi)
