"""The Cramér-Rao bound of a held note in 1/f noise, from the same take rendered without noise and drones.

var(f0) >= 24 / ((2 pi)^2 T^3 sum_k k^2 A_k^2 / (2 S_k)) with S_k the one-sided noise density at k f0
(Nehorai & Porat 1986 in continuous time); the note stationary, amplitudes and phases unknown.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.units import hz_step_to_cents
from canebench.sound.synth import render

if TYPE_CHECKING:
    from canebench.base.arrays import SampleArray
    from canebench.sound.synth import Recipe

_LOWEST_NOISE_HZ = 50.0


def bare(recipe: Recipe) -> tuple[SampleArray, float]:
    """The recipe's chanter in its room, steady and alone, and its power while it sounds."""
    steady = replace(recipe, drones=None, snr_db=None, wander_cents=0.0)
    recording, truth = render(steady)
    sounding = sum(event.end_s - event.start_s for event in truth.events if event.note)
    power = float(np.sum(recording.samples.astype(float) ** 2)) / recording.rate_hz / sounding
    return recording.samples, power


def bound_cents(
    samples: SampleArray, power: float, recipe: Recipe, span_s: tuple[float, float], f0_hz: float
) -> float:
    """Least standard deviation (cents) of any unbiased estimate of the note's pitch over the span."""
    rate = recipe.rate_hz
    cut = samples[round(span_s[0] * rate) : round(span_s[1] * rate)].astype(float)
    time = np.arange(len(cut)) / rate
    window = np.hanning(len(cut))
    noise = power * 10 ** (-(recipe.snr_db or 0.0) / 10) / np.log(rate / 2 / _LOWEST_NOISE_HZ)
    total = 0.0
    for k in range(1, int(min(10_000.0, 0.45 * rate) / f0_hz) + 1):
        amplitude = 2 * abs(np.sum(cut * window * np.exp(-2j * np.pi * k * f0_hz * time))) / np.sum(window)
        total += k**2 * amplitude**2 / (2 * noise / (k * f0_hz))
    length = span_s[1] - span_s[0]
    return hz_step_to_cents(float(np.sqrt(24 / ((2 * np.pi) ** 2 * length**3 * total))), f0_hz)
