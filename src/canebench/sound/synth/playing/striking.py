"""How a drone begins: it sounds already, or its reed is started, or all are struck in.

Guarded by `tests/analytic/test_pipe_attacks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.synth.recipe import DronePlan, Recipe

#: Struck in, drones begin one after another, sound a double tone, and come to pitch from below.
_LATE_S: Final = (0.0, 0.3)
_DOUBLE_S: Final = (0.15, 0.5)
_DOUBLE_CENTS: Final = (250.0, 550.0)
_BELOW_CENTS: Final = (15.0, 50.0)
_GLIDE_S: Final = 0.12
_CHANGE_S: Final = 0.03
_RISE_S: Final = 0.015
_RISE_STRUCK_S: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Beginning:
    """When a drone begins, how fast its level rises (None: it sounds already) and what it does first.

    Until `settles_s` it sounds `double_cents` above its pitch, then comes from `below_cents` below.
    """

    begins_s: float
    rise_s: float | None = None
    settles_s: float | None = None
    double_cents: float = 0.0
    below_cents: float = 0.0

    def level(self, time_s: FloatArray) -> FloatArray:
        """Level from 0 to 1."""
        if self.rise_s is None:
            return np.ones_like(time_s)
        since = np.maximum(time_s - self.begins_s, 0.0)
        return np.asarray(1.0 - np.exp(-since / self.rise_s))

    def cents(self, time_s: FloatArray) -> FloatArray:
        """Cents off the drone's own course."""
        if self.settles_s is None:
            return np.zeros_like(time_s)
        since = time_s - self.settles_s
        double = np.clip(1.0 - since / _CHANGE_S, 0.0, 1.0)
        glide = -self.below_cents * np.exp(-np.maximum(since, 0.0) / _GLIDE_S)
        return np.asarray(double * self.double_cents + (1.0 - double) * glide)


def beginning(recipe: Recipe, plan: DronePlan, rng: np.random.Generator) -> Beginning:
    """How one drone of this take begins."""
    late, double = rng.uniform(*_LATE_S), rng.uniform(*_DOUBLE_S)
    above, below = rng.uniform(*_DOUBLE_CENTS), rng.uniform(*_BELOW_CENTS)
    if recipe.behaviour is not None and recipe.behaviour.strikes_in:
        return Beginning(
            begins_s=plan.start_s + late,
            rise_s=_RISE_STRUCK_S,
            settles_s=plan.start_s + late + double,
            double_cents=above,
            below_cents=below,
        )
    return Beginning(begins_s=plan.start_s, rise_s=_RISE_S if plan.start_s > 0 else None)
