"""What seat and tape do to each note, as numbers to plan with: no physics here, tables of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: The note that each hole is named for, as an index into the nine.
OWN_NOTE = np.array([NOTES.index(hole) for hole in HOLES])


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """One chanter and reed's response within the limits set.

    Attributes
    ----------
    seat_mm : array (S,)
        The seat depths to choose from, in steps, rising.
    bare_cents : array (S, 9)
        Deviation of each note from its target at each of them, no tape on.
    reach_mm : array (H, L)
        Amounts of tape on each hole, from 0 to the most allowed, rising.
    flatter_cents : array (H, L, 9)
        How far each amount flattens each note (0 or more for the hole's own note).
    """

    seat_mm: FloatArray
    bare_cents: FloatArray
    reach_mm: FloatArray
    flatter_cents: FloatArray

    def __post_init__(self) -> None:
        seats, levels = self.seat_mm.size, self.reach_mm.shape[-1]
        wanted = {
            "bare_cents": (self.bare_cents.shape, (seats, len(NOTES))),
            "reach_mm": (self.reach_mm.shape, (len(HOLES), levels)),
            "flatter_cents": (self.flatter_cents.shape, (len(HOLES), levels, len(NOTES))),
        }
        for name, (given, needed) in wanted.items():
            if given != needed:
                raise InputError(field=name, given=f"shape {given}", allowed=f"shape {needed} is needed")

    @property
    def own_cents(self) -> FloatArray:
        """How far each amount flattens the hole's own note: (H, L)."""
        return np.stack([self.flatter_cents[i, :, note] for i, note in enumerate(OWN_NOTE)])

    @property
    def cross(self) -> FloatArray:
        """Cents on each note for one cent on the hole's own, at the largest amount: (9, H)."""
        own = np.maximum(self.own_cents[:, -1], 1e-9)
        return np.asarray((self.flatter_cents[:, -1] / own[:, None]).T)

    def amount_mm(self, hole: int, own_cents: float) -> float:
        """Tape on a hole that flattens its own note by so much; at most what is allowed."""
        return float(np.interp(own_cents, np.maximum.accumulate(self.own_cents[hole]), self.reach_mm[hole]))
