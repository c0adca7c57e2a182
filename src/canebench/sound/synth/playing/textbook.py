"""The textbook's voices: each partial on its source's phase, steady but for a slow jitter of its level.

The spectra are our own choice (second to fifth partial as loud as or louder than the first, acoustics of a
conical reed pipe). What a recipe without a behaviour renders never changes: analytic tests rest on it.
Guarded by `tests/analytic/test_synth.py` and `tests/frozen/test_textbook_takes.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import cents_to_hz
from canebench.sound.synth.playing.courses import cycles_of

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.sound.synth.recipe import DronePlan, Recipe
    from canebench.sound.synth.truth import Event

_TOP_HZ = 10_000.0
#: Fingers take a few milliseconds to open or close a hole.
_FINGER_S = 0.006
_JITTER_HZ = 3.0


def textbook_chanter(
    recipe: Recipe, events: list[Event], holds: list[float], count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """The chanter and its cycles."""
    rate = recipe.rate_hz
    edges = [round(event.start_s * rate) for event in events] + [count]
    lengths = np.diff(edges)
    sounding = np.array([event.note is not None for event in events], dtype=float)
    freq = fingered(np.repeat(np.log(holds), lengths), rate)
    freq = np.exp(freq) * cents_to_hz(recipe.wander_cents * wander(count, recipe, rng), 1.0)
    cycles = cycles_of(freq, rate)
    tilt = {note: _chanter_spectrum(rng) for note in NOTES}
    partials = int(min(_TOP_HZ, 0.45 * rate) / min(holds))
    signal = np.zeros(count)
    rotor = np.exp(2j * np.pi * cycles)
    phasor = np.ones(count, dtype=complex)
    for k in range(1, partials + 1):
        phasor *= rotor
        gains = [tilt[event.note][k - 1] if event.note else 0.0 for event in events]
        gains = [g * (k * hold < min(_TOP_HZ, 0.45 * rate)) for g, hold in zip(gains, holds, strict=True)]
        envelope = fingered(np.repeat(np.array(gains) * sounding, lengths), rate)
        envelope *= 1.0 + recipe.jitter * _slow(count, rate, _JITTER_HZ, rng)
        signal += envelope * _turned(phasor, rng)
    return signal, cycles


def _chanter_spectrum(rng: np.random.Generator) -> FloatArray:
    """Amplitudes of 40 partials: a broad hump at partials 2 to 5, then about -9 dB an octave, +-3 dB."""
    k = np.arange(1, 41)
    hump = np.where(k == 1, -3.0, np.where(k <= 5, 0.0, -9.0 * np.log2(k / 5)))
    return np.asarray(10 ** ((hump + rng.uniform(-3, 3, k.size)) / 20))


def textbook_drones(
    recipe: Recipe, plan: DronePlan, count: int, rng: np.random.Generator
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """All drones with an RMS of 1 together, and the cycles of each."""
    rate = recipe.rate_hz
    pitches = {"bass": recipe.low_a_hz / 4 * cents_to_hz(plan.bass_cents, 1.0)}
    for number, offset in enumerate(plan.tenor_cents, start=1):
        pitches[f"tenor {number}"] = recipe.low_a_hz / 2 * cents_to_hz(offset, 1.0)
    onset = fingered((np.arange(count) >= plan.start_s * rate).astype(float), rate)
    signal = np.zeros(count)
    cycles: dict[str, FloatArray] = {}
    for name, pitch in pitches.items():
        freq = pitch * cents_to_hz(plan.wander_cents * wander(count, recipe, rng), 1.0)
        cycles[name] = cycles_of(freq, rate)
        top = int(min(_TOP_HZ, 0.45 * rate) / pitch)
        k = np.arange(1, top + 1)
        fall = -6.0 * np.log2(k) * (0.7 if name == "bass" else 1.0) + rng.uniform(-4, 4, top)
        rotor = np.exp(2j * np.pi * cycles[name])
        phasor = np.ones(count, dtype=complex)
        for gain in 10 ** (fall / 20):
            phasor *= rotor
            envelope = gain * (1.0 + recipe.jitter * _slow(count, rate, _JITTER_HZ, rng))
            signal += envelope * _turned(phasor, rng)
    return onset * signal / np.sqrt(np.mean(signal**2)), cycles


def _turned(phasor: ComplexArray, rng: np.random.Generator) -> FloatArray:
    """The partial of that phasor at a random phase."""
    angle = rng.uniform(0, 2 * np.pi)
    return np.asarray(np.cos(angle) * phasor.real - np.sin(angle) * phasor.imag)


def wander(count: int, recipe: Recipe, rng: np.random.Generator) -> FloatArray:
    """A slow Gaussian wander of RMS 1: sines spread about `wander_hz` with random phases."""
    time = np.arange(count) / recipe.rate_hz
    rates = np.abs(rng.normal(recipe.wander_hz, 0.3 * recipe.wander_hz, 12))
    gains, phases = rng.standard_normal(12), rng.uniform(0, 2 * np.pi, 12)
    gains *= np.sqrt(2.0 / np.sum(gains**2))
    step = max(1, round(recipe.rate_hz / 200))
    coarse = time[::step]
    wave = sum(g * np.cos(2 * np.pi * r * coarse + p) for g, r, p in zip(gains, rates, phases, strict=True))
    return np.asarray(np.interp(time, coarse, np.asarray(wave)))


def _slow(count: int, rate_hz: float, band_hz: float, rng: np.random.Generator) -> FloatArray:
    """Noise of RMS 1 below about `band_hz`, by linear interpolation between random knots."""
    knots = rng.standard_normal(int(count / rate_hz * 2 * band_hz) + 3)
    position = np.arange(count) * (2 * band_hz / rate_hz)
    return np.asarray(np.interp(position, np.arange(knots.size), knots) * np.sqrt(1.5))


def fingered(steps: FloatArray, rate_hz: float) -> FloatArray:
    """A stepwise course smoothed over the few milliseconds that fingers take."""
    width = max(1, round(_FINGER_S * rate_hz))
    padded = np.concatenate([np.full(width, steps[0]), steps, np.full(width, steps[-1])])
    total = np.cumsum(padded)
    start = width - width // 2
    smooth = (total[width:] - total[:-width]) / width
    return np.asarray(smooth[start - 1 : start - 1 + len(steps)])
