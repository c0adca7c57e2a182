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
from canebench.sound.synth.bank import polynomial
from canebench.sound.synth.playing.courses import cycles_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.synth.recipe import DronePlan, Recipe
    from canebench.sound.synth.truth import Event

_TOP_HZ = 10_000.0
#: Fingers take a few milliseconds to open or close a hole.
_FINGER_S = 0.006
_JITTER_HZ = 3.0
#: Samples worked on at a time: as many as the processor's cache holds.
_CHUNK = 8192


def textbook_chanter(
    recipe: Recipe, events: list[Event], holds: list[float], count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """The chanter and its cycles."""
    rate = recipe.rate_hz
    edges = [round(event.start_s * rate) for event in events] + [count]
    lengths = np.diff(edges)
    freq = fingered(np.repeat(np.log(holds), lengths), rate)
    freq = np.exp(freq) * cents_to_hz(recipe.wander_cents * wander(count, recipe, rng), 1.0)
    cycles = cycles_of(freq, rate)
    tilt = {note: _chanter_spectrum(rng) for note in NOTES}
    top_hz = min(_TOP_HZ, 0.45 * rate)
    partials = int(top_hz / min(holds))
    k = np.arange(1, partials + 1)
    silent = np.zeros(partials)
    played = [tilt[event.note][:partials] if event.note else silent for event in events]
    amplitudes = np.array(played) * (k * np.array(holds)[:, None] < top_hz)
    moving = _turned(partials, count, recipe, rng)
    return _summed(cycles, amplitudes, moving, edges[1:-1], rate), cycles


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
        amplitudes = 10 ** (fall[None] / 20)
        signal += _summed(cycles[name], amplitudes, _turned(top, count, recipe, rng), [], rate)
    return onset * signal / np.sqrt(np.mean(signal**2)), cycles


def _turned(partials: int, count: int, recipe: Recipe, rng: np.random.Generator) -> ComplexArray:
    """Each partial's jitter about 1 (rows) at its knots, turned to a random phase.

    The jitter is noise of RMS 1 below about `_JITTER_HZ`, by straight lines between random knots.
    """
    size = int(count / recipe.rate_hz * 2 * _JITTER_HZ) + 3
    found = np.empty((partials, size), dtype=complex)
    for row in found:
        jitter = 1.0 + recipe.jitter * np.sqrt(1.5) * rng.standard_normal(size)
        row[:] = jitter * np.exp(1j * rng.uniform(0, 2 * np.pi))
    return found


def _summed(
    cycles: FloatArray, amplitudes: FloatArray, moving: ComplexArray, edges: list[int], rate_hz: float
) -> FloatArray:
    """The sum of all partials on these cycles.

    `amplitudes` has a row for each event and a column for each partial; `edges` are the first samples of
    all events but the first. Between two knots of `moving` the sum is one polynomial and, times the way
    from the one to the other, a second.
    """
    total = np.zeros(len(cycles))
    for first, last, knot in _chunks(len(cycles), rate_hz):
        samples = np.arange(first, last)
        rotor = np.exp(2j * np.pi * cycles[first:last])
        way = samples * (2 * _JITTER_HZ / rate_hz) - knot
        held, moved = moving[:, knot], moving[:, knot + 1] - moving[:, knot]
        for event, share in _shares(samples, edges, rate_hz):
            level = amplitudes[event]
            sums = polynomial(rotor, level * held).real + way * polynomial(rotor, level * moved).real
            total[first:last] += share * sums
    return total


def _chunks(count: int, rate_hz: float) -> Iterator[tuple[int, int, int]]:
    """First and last (exclusive) sample of stretches between two knots of the jitter, and the first knot."""
    a_knot = rate_hz / (2 * _JITTER_HZ)
    for knot in range(int(count / a_knot) + 1):
        start, end = (min(count, int(np.ceil(number * a_knot))) for number in (knot, knot + 1))
        for first in range(start, end, _CHUNK):
            yield first, min(first + _CHUNK, end), knot


def _shares(samples: IntArray, edges: list[int], rate_hz: float) -> Iterator[tuple[int, FloatArray]]:
    """The events that sound in these samples, and each one's share of every sample: as `fingered` would."""
    width = _finger_width(rate_hz)
    # So far behind the first sample that `fingered` averages over about one.
    reach = width - width // 2
    begun = np.searchsorted(edges, samples[0] + reach - width, side="right")
    ended = np.searchsorted(edges, samples[-1] + reach, side="left")
    before = np.ones(len(samples))
    for event in range(int(begun), int(ended) + 1):
        after = np.zeros(len(samples))
        if event < len(edges):
            after = np.clip(samples + reach - edges[event], 0, width) / width
        yield event, before - after
        before = after


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


def fingered(steps: FloatArray, rate_hz: float) -> FloatArray:
    """A stepwise course smoothed over the few milliseconds that fingers take."""
    width = _finger_width(rate_hz)
    padded = np.concatenate([np.full(width, steps[0]), steps, np.full(width, steps[-1])])
    total = np.cumsum(padded)
    start = width - width // 2
    smooth = (total[width:] - total[:-width]) / width
    return np.asarray(smooth[start - 1 : start - 1 + len(steps)])


def _finger_width(rate_hz: float) -> int:
    return max(1, round(_FINGER_S * rate_hz))
