"""Nine conditions of growing difficulty and the worst error allowed in each, for takes drawn from a seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canebench.base.notes import NOTES
from canebench.sound.synth import DronePlan, PlannedNote, Recipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What a take contains. `worst_cents` is asked of every note; `apart_cents` is how far drones are off."""

    worst_cents: float
    drones_db: float | None = None
    room: bool = False
    off_cents: float = 35.0
    apart_cents: float = 6.0
    wander_cents: float = 0.0
    drone_wander_cents: float = 0.0


CONDITIONS: dict[str, Condition] = {
    "alone": Condition(worst_cents=0.1),
    "alone in a room": Condition(worst_cents=0.3, room=True),
    "alone in a room, wandering": Condition(worst_cents=1.0, room=True, wander_cents=5.0),
    "drones": Condition(worst_cents=0.5, drones_db=0.0),
    "drones in a room": Condition(worst_cents=1.0, drones_db=0.0, room=True),
    "drones in a room, in tune": Condition(
        worst_cents=0.5, drones_db=0.0, room=True, off_cents=3.0, apart_cents=1.0
    ),
    "as played": Condition(
        worst_cents=1.5, drones_db=0.0, room=True, wander_cents=3.0, drone_wander_cents=0.5
    ),
    "as played, in tune": Condition(
        worst_cents=2.0,
        drones_db=0.0,
        room=True,
        off_cents=3.0,
        apart_cents=1.0,
        wander_cents=3.0,
        drone_wander_cents=0.5,
    ),
    "as played, loud drones": Condition(
        worst_cents=3.0, drones_db=6.0, room=True, wander_cents=3.0, drone_wander_cents=0.5
    ),
}


def recipe_for(
    condition: Condition, seed: int, *, duration_s: float = 2.0, rate_hz: float = 48_000.0
) -> Recipe:
    """Low A, order of the notes and every offset drawn from the seed; graces where drones sound in a room."""
    rng = np.random.default_rng(seed)
    common = 0.0 if condition.off_cents < 10 else float(rng.uniform(-15, 15))
    notes = tuple(
        PlannedNote(
            note=str(note),
            duration_s=duration_s * float(rng.uniform(0.9, 1.15)),
            offset_cents=common + float(rng.uniform(-condition.off_cents, condition.off_cents)),
        )
        for note in rng.permutation(NOTES)
    )
    drones = None
    if condition.drones_db is not None:
        bass, sharp, flat = rng.uniform((-1, 0.3, -1), (1, 1, -0.3)) * condition.apart_cents
        drones = DronePlan(
            level_db=condition.drones_db,
            bass_cents=float(bass),
            tenor_cents=(float(sharp), float(flat)),
            wander_cents=condition.drone_wander_cents,
        )
    return Recipe(
        low_a_hz=float(rng.uniform(430, 500)),
        notes=notes,
        seed=seed,
        rate_hz=rate_hz,
        drones=drones,
        wander_cents=condition.wander_cents,
        snr_db=20.0 if condition.room else None,
        rt60_s=0.6 if condition.room else None,
        graces=condition.room and drones is not None,
    )
