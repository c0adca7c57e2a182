"""A chanter of real pipes: every note with a timbre, a waver and a drift of its own.

Guarded by `tests/analytic/test_pipe_behaviour.py` and `tests/analytic/test_pipe_attacks.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import cents_to_hz
from canebench.sound.synth.bank import knots, sum_of_partials
from canebench.sound.synth.noise import reed_noise
from canebench.sound.synth.playing import fingers
from canebench.sound.synth.playing.courses import at, cycles_of, waver
from canebench.sound.synth.playing.motion import creep_weights, gains, turns
from canebench.sound.synth.timbre import amplitudes, chanter_db

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.sound.synth.behaviour import PipeBehaviour
    from canebench.sound.synth.playing.bag import Bag
    from canebench.sound.synth.recipe import Recipe
    from canebench.sound.synth.truth import Event

_TOP_HZ: Final = 10_000.0
_KNOT_HZ: Final = 1_000.0
_NOISE_HZ: Final = 2_500.0
#: Notes differ in level, and in how far the same arm moves them.
_LEVEL_DB: Final = 2.0
_MOVED: Final = (0.6, 1.4)
_OWN: Final = (0.3, 1.6)
#: A note's drift slackens; `drift_cents` is the most in this time.
_DRIFT_S: Final = 6.0
#: A note begins off its pitch: at once, by the finger or out of silence, and for a while.
_FLICK_CENTS, _FLICK_S = 8.0, 0.02
_FROM_SILENCE_CENTS, _FROM_SILENCE_S = 30.0, 0.04
_SETTLE_S: Final = 0.25


def piped_chanter(
    recipe: Recipe,
    events: list[Event],
    holds: list[float],
    bag: Bag,
    behaviour: PipeBehaviour,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """The chanter, and the cycles that all its partials have in common."""
    rate, count = recipe.rate_hz, round(events[-1].end_s * recipe.rate_hz)
    hop = round(rate / _KNOT_HZ)
    places = knots(count, hop)
    samples = np.arange(count)
    held = fingers.stepped(np.log(holds), events, samples / rate, rng)
    cents = _course_cents(recipe, events, bag, behaviour, places / rate, rng)
    freq = np.exp(held) * cents_to_hz(np.interp(samples, places, cents), 1.0)
    cycles = cycles_of(freq, rate)
    envelope = _envelope(recipe, events, holds, bag, behaviour, places / rate, rng)
    signal = sum_of_partials(cycles, envelope, hop)
    if behaviour.chanter.noise_db is not None:
        _, since_s = fingers.since_start(events, places / rate)
        loud = np.sqrt(np.sum(np.abs(envelope) ** 2, axis=0) / 2) * fingers.puffs(since_s)
        noise = reed_noise(count, rate, cycles, _NOISE_HZ, rng) * np.interp(samples, places, loud)
        signal += 10 ** (behaviour.chanter.noise_db / 20) * noise
    return signal, cycles


def _course_cents(
    recipe: Recipe,
    events: list[Event],
    bag: Bag,
    behaviour: PipeBehaviour,
    time_s: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """Cents off the fingered pitch."""
    source = behaviour.chanter
    moved = {note: rng.uniform(*_MOVED) for note in NOTES}
    own = {note: rng.uniform(*_OWN) for note in NOTES}
    notes = _fingered(events)
    by_bag = fingers.stepped(np.array([moved[note] for note in notes]), events, time_s, rng)
    by_itself = fingers.stepped(np.array([own[note] for note in notes]), events, time_s, rng)
    wavers = [at(course, time_s) for course in waver(bag.duration_s, rng, rows=2)]
    course = behaviour.common_cents * source.sensitivity * by_bag * at(bag.pressure, time_s)
    course += source.own_cents * by_itself * wavers[0] + recipe.wander_cents * wavers[1]
    number, since_s = fingers.since_start(events, time_s)
    ends = rng.uniform(-source.drift_cents, source.drift_cents, len(events))
    slackening = (1.0 - np.exp(-since_s / _DRIFT_S)) / (1.0 - np.exp(-1.0))
    course += ends[number] * slackening
    course += source.own_cents * rng.standard_normal(len(events))[number] * np.exp(-since_s / _SETTLE_S)
    silent = np.array([True] + [event.note is None for event in events[:-1]])
    flicks = np.where(silent, -_FROM_SILENCE_CENTS, _FLICK_CENTS * rng.standard_normal(len(events)))
    flick_s = np.where(silent, _FROM_SILENCE_S, _FLICK_S)
    course += flicks[number] * np.exp(-since_s / flick_s[number])
    return np.asarray(course + bag.sag_cents_at(time_s))


def _envelope(
    recipe: Recipe,
    events: list[Event],
    holds: list[float],
    bag: Bag,
    behaviour: PipeBehaviour,
    time_s: FloatArray,
    rng: np.random.Generator,
) -> ComplexArray:
    """Complex amplitudes of the partials (rows) at these times."""
    top_hz = min(_TOP_HZ, 0.45 * recipe.rate_hz)
    partials = int(top_hz / min(holds))
    k = np.arange(1, partials + 1)
    timbre = {
        note: amplitudes(chanter_db(partials, rng) + rng.uniform(-_LEVEL_DB, _LEVEL_DB)) for note in NOTES
    }
    angles = {note: rng.uniform(0, 2 * np.pi, partials) for note in NOTES}
    notes = _fingered(events)
    sizes = np.array([timbre[note] for note in notes]) * (k * np.array(holds)[:, None] < top_hz)
    turned = np.exp(1j * np.array([angles[note] for note in notes]))
    targets = sizes * turned * _blown(events, cuts_off=behaviour.cuts_off)[:, None]
    times_s = fingers.rise_times_s(targets, rng)
    envelope = fingers.approached(targets, times_s, events, time_s)
    weights = fingers.approached(creep_weights(sizes).astype(complex), times_s, events, time_s).real
    crept = weights * turns(behaviour.chanter, bag, time_s, partials=partials, rng=rng)
    swell = gains(behaviour.chanter, bag, time_s, partials=partials, rng=rng)
    return np.asarray(envelope * swell * np.exp(1j * crept))


def _fingered(events: list[Event]) -> list[str]:
    """The note under the fingers in each event: in a pause the one before it, at the start the first."""
    first = next(event.note for event in events if event.note is not None)
    notes: list[str] = []
    for event in events:
        notes.append(event.note or (notes[-1] if notes else first))
    return notes


def _blown(events: list[Event], *, cuts_off: bool) -> FloatArray:
    """1 where the chanter sounds, 0 in a pause; the bag that empties still blows what it blew before."""
    blown = [float(event.note is not None) for event in events]
    if cuts_off:
        blown[-1] = blown[-2]
    return np.array(blown)
