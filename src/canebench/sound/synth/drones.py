"""Drones of real pipes: each drifts, wavers and swells by itself and all with the bag.

Guarded by `tests/analytic/test_pipe_behaviour.py` and `tests/analytic/test_pipe_attacks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import cents_to_hz
from canebench.sound.synth.bank import knots, sum_of_partials
from canebench.sound.synth.noise import reed_noise
from canebench.sound.synth.playing.courses import at, cycles_of, drift, waver
from canebench.sound.synth.playing.motion import creep_weights, gains, turns
from canebench.sound.synth.playing.striking import Beginning, beginning
from canebench.sound.synth.timbre import amplitudes, bass_db, tenor_db

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.synth.behaviour import PipeBehaviour, SourceBehaviour
    from canebench.sound.synth.playing.bag import Bag
    from canebench.sound.synth.recipe import DronePlan, Recipe

_TOP_HZ: Final = 4_500.0
_KNOT_HZ: Final = 250.0
_NOISE_HZ: Final = 1_000.0
_BALANCE_DB: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drone:
    name: str
    pitch_hz: float
    wander_cents: float
    source: SourceBehaviour
    begins: Beginning


def piped_drones(
    recipe: Recipe, plan: DronePlan, bag: Bag, behaviour: PipeBehaviour, rng: np.random.Generator
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """All drones with an RMS of 1 together while they sound, and the cycles of each."""
    time_s = np.arange(round(bag.duration_s * recipe.rate_hz)) / recipe.rate_hz
    signal = np.zeros(len(time_s))
    cycles: dict[str, FloatArray] = {}
    offsets = {"bass": plan.bass_cents - 1200.0}
    offsets |= {f"tenor {number}": cents for number, cents in enumerate(plan.tenor_cents, start=1)}
    for index, (name, offset) in enumerate(offsets.items()):
        drone = _Drone(
            name=name,
            pitch_hz=cents_to_hz(offset, recipe.low_a_hz / 2),
            wander_cents=plan.wander_cents,
            source=behaviour.drones[min(index, len(behaviour.drones) - 1)],
            begins=beginning(recipe, plan, rng),
        )
        freq = cents_to_hz(_course_cents(drone, behaviour, bag, time_s, rng), drone.pitch_hz)
        cycles[name] = cycles_of(freq, recipe.rate_hz)
        balance = 10 ** (rng.uniform(-_BALANCE_DB, _BALANCE_DB) / 20)
        signal += balance * _sound(drone, bag, cycles[name], recipe.rate_hz, rng)
    power = np.sum(signal**2) / np.sum(time_s >= min(plan.start_s, bag.duration_s / 2))
    return signal / np.sqrt(power), cycles


def _course_cents(
    drone: _Drone, behaviour: PipeBehaviour, bag: Bag, time_s: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Cents off the planned pitch: what the arm does lies about it, what beginning and end do does not."""
    own = float(np.hypot(drone.source.own_cents, drone.wander_cents))
    course = behaviour.common_cents * drone.source.sensitivity * at(bag.pressure, time_s)
    course += own * at(waver(bag.duration_s, rng)[0], time_s)
    course += drone.source.drift_cents * at(drift(bag.duration_s, rng), time_s)
    return np.asarray(course - np.mean(course) + drone.begins.cents(time_s) + bag.sag_cents_at(time_s))


def _sound(
    drone: _Drone, bag: Bag, cycles: FloatArray, rate_hz: float, rng: np.random.Generator
) -> FloatArray:
    """The drone's partials and its noise; partials alone have an RMS of 1."""
    count, hop = len(cycles), round(rate_hz / _KNOT_HZ)
    places_s = knots(count, hop) / rate_hz
    partials = int(min(_TOP_HZ, 0.45 * rate_hz) / drone.pitch_hz)
    gain = amplitudes((bass_db if drone.name == "bass" else tenor_db)(partials, rng))
    envelope = gain[:, None] * gains(drone.source, bag, places_s, partials=partials, rng=rng)
    crept = creep_weights(gain)[:, None] * turns(drone.source, bag, places_s, partials=partials, rng=rng)
    angles = rng.uniform(0, 2 * np.pi, (partials, 1))
    rise = drone.begins.level(places_s)
    signal = sum_of_partials(cycles, rise * envelope * np.exp(1j * (angles + crept)), hop)
    if drone.source.noise_db is not None:
        loud = np.interp(np.arange(count), places_s * rate_hz, rise * 10 ** (bag.fade_db(places_s) / 20))
        noise = reed_noise(count, rate_hz, cycles, _NOISE_HZ, rng)
        signal += 10 ** (drone.source.noise_db / 20) * loud * noise
    return signal
