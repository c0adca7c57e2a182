"""The conditions of the pitch benchmark: one recipe for each name and seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canebench.base.notes import NOTES
from canebench.sound.synth import DronePlan, PlannedNote, Recipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What a take of this condition contains, and the figures asked: median, 95th, worst (cents)."""

    title: str
    asked_cents: tuple[float, float, float]
    drones_db: float | None = None
    noisy: bool = False
    graces: bool = False
    in_tune: bool = False
    wander_cents: float = 0.0
    drone_wander_cents: float = 0.0


CONDITIONS: dict[str, Condition] = {
    "alone": Condition(title="chanter alone, clean", asked_cents=(0.002, 0.01, 0.1)),
    "alone-room": Condition(title="alone, noise + room", asked_cents=(0.005, 0.03, 0.3), noisy=True),
    "alone-wander": Condition(
        title="alone, noise + room + 5 c wander", asked_cents=(0.08, 0.4, 1.0), noisy=True, wander_cents=5.0
    ),
    "drones": Condition(title="drones equal, clean", asked_cents=(0.005, 0.05, 0.5), drones_db=0.0),
    "drones-room": Condition(
        title="drones equal, noise + room + graces",
        asked_cents=(0.01, 0.1, 1.0),
        drones_db=0.0,
        noisy=True,
        graces=True,
    ),
    "drones-in-tune": Condition(
        title="the same, in tune within 3 c",
        asked_cents=(0.02, 0.1, 0.5),
        drones_db=0.0,
        noisy=True,
        graces=True,
        in_tune=True,
    ),
    "as-played": Condition(
        title="as played (3 c wander, drones 0.5 c)",
        asked_cents=(0.08, 0.3, 1.5),
        drones_db=0.0,
        noisy=True,
        graces=True,
        wander_cents=3.0,
        drone_wander_cents=0.5,
    ),
    "as-played-in-tune": Condition(
        title="as played, in tune within 3 c",
        asked_cents=(0.1, 0.8, 2.0),
        drones_db=0.0,
        noisy=True,
        graces=True,
        in_tune=True,
        wander_cents=3.0,
        drone_wander_cents=0.5,
    ),
    "as-played-loud-drones": Condition(
        title="as played, drones +6 dB",
        asked_cents=(0.15, 0.8, 3.0),
        drones_db=6.0,
        noisy=True,
        graces=True,
        wander_cents=3.0,
        drone_wander_cents=0.5,
    ),
}


def recipe_for(name: str, seed: int) -> Recipe:
    """The recipe of condition `name` for one seed: low A, offsets, order and lengths are drawn from it."""
    condition = CONDITIONS[name]
    rng = np.random.default_rng([seed, list(CONDITIONS).index(name)])
    span, common = (3.0, 0.0) if condition.in_tune else (35.0, float(rng.uniform(-15, 15)))
    order = list(NOTES) if rng.uniform() < 0.5 else [str(note) for note in rng.permutation(NOTES)]
    notes = tuple(
        PlannedNote(
            note=note,
            duration_s=float(rng.uniform(1.8, 2.3)),
            offset_cents=common + float(rng.uniform(-span, span)),
        )
        for note in order
    )
    drones = None
    if condition.drones_db is not None:
        apart = 1.0 if condition.in_tune else 6.0
        drones = DronePlan(
            level_db=condition.drones_db,
            bass_cents=float(rng.uniform(-apart, apart)),
            tenor_cents=(float(rng.uniform(0.3, 1.0)) * apart, -float(rng.uniform(0.3, 1.0)) * apart),
            wander_cents=condition.drone_wander_cents,
        )
    return Recipe(
        low_a_hz=float(rng.uniform(430, 500)),
        notes=notes,
        seed=seed,
        drones=drones,
        wander_cents=condition.wander_cents,
        snr_db=20.0 if condition.noisy else None,
        rt60_s=0.6 if condition.noisy else None,
        graces=condition.graces,
    )
