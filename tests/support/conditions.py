"""The conditions that measuring is judged by: what a take of each contains, and the errors allowed.

Nine are textbook sound of growing difficulty, the rest sound as pipes do, in a room. Tests and benchmarks
draw their takes here, one recipe for each name and seed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canebench.base.notes import NOTES
from canebench.sound.synth import USUAL, DronePlan, PlannedNote, Recipe, behaviour_drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What a take of this condition contains, and the errors asked: median, 95th, worst (cents)."""

    title: str
    asked_cents: tuple[float, float, float]
    drones_db: float | None = None
    noisy: bool = False
    graces: bool = False
    in_tune: bool = False
    wander_cents: float = 0.0
    drone_wander_cents: float = 0.0
    pipes: bool = False
    rt60_s: float = 0.6
    hold_s: tuple[float, float] = (1.8, 2.3)

    @property
    def worst_cents(self) -> float:
        """The error allowed of any note."""
        return self.asked_cents[2]


#: A take's draws go with its condition's place here: append, never insert.
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
    "pipes-alone": Condition(title="pipes alone", asked_cents=(0.03, 0.2, 0.5), pipes=True),
    "pipes-drones": Condition(
        title="pipes, drones equal", asked_cents=(0.05, 0.5, 1.5), pipes=True, drones_db=0.0, graces=True
    ),
    "pipes-loud-drones": Condition(
        title="pipes, drones +6 dB", asked_cents=(0.08, 0.8, 2.0), pipes=True, drones_db=6.0, graces=True
    ),
    "pipes-in-tune": Condition(
        title="pipes, in tune",
        asked_cents=(0.08, 0.8, 2.0),
        pipes=True,
        drones_db=0.0,
        graces=True,
        in_tune=True,
    ),
    "pipes-hall": Condition(
        title="pipes in a hall (RT60 2 s)",
        asked_cents=(0.2, 2.0, 5.0),
        pipes=True,
        drones_db=0.0,
        graces=True,
        rt60_s=2.0,
    ),
    "pipes-short": Condition(
        title="pipes, short notes (0.7-1.5 s)",
        asked_cents=(0.2, 2.0, 5.0),
        pipes=True,
        drones_db=0.0,
        graces=True,
        hold_s=(0.7, 1.5),
    ),
}

TEXTBOOK = tuple(name for name, condition in CONDITIONS.items() if not condition.pipes)
PIPES = tuple(name for name, condition in CONDITIONS.items() if condition.pipes)

#: A bench's room is quieter than the textbook's noise.
_PIPES_SNR_DB = 30.0
_TEXTBOOK_SNR_DB = 20.0


def recipe_for(
    name: str, seed: int, *, longer: float = 1.0, rate_hz: float = 48_000.0, degree: str = USUAL
) -> Recipe:
    """The recipe of condition `name` for one seed: low A, offsets, order and lengths are drawn from it.

    Notes are held `longer` times as long as the condition's; `degree` is that of the pipes' behaviour.
    """
    condition = CONDITIONS[name]
    rng = np.random.default_rng([seed, list(CONDITIONS).index(name)])
    span, common = (3.0, 0.0) if condition.in_tune else (35.0, float(rng.uniform(-15, 15)))
    order = list(NOTES) if rng.uniform() < 0.5 else [str(note) for note in rng.permutation(NOTES)]
    notes = tuple(
        PlannedNote(
            note=note,
            duration_s=longer * float(rng.uniform(*condition.hold_s)),
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
    low_a_hz = float(rng.uniform(430, 500))
    in_room = condition.noisy or condition.pipes
    return Recipe(
        low_a_hz=low_a_hz,
        notes=notes,
        seed=seed,
        rate_hz=rate_hz,
        drones=drones,
        wander_cents=condition.wander_cents,
        snr_db=(_PIPES_SNR_DB if condition.pipes else _TEXTBOOK_SNR_DB) if in_room else None,
        rt60_s=condition.rt60_s if in_room else None,
        graces=condition.graces,
        behaviour=behaviour_drawn(rng, degree=degree) if condition.pipes else None,
    )
