"""A chanter of ill will: each thing that a model would rather not have, in one.

The seat leaks early above the hand seat and the pitch then hardly follows; the bottom is near; the high G
follows the seat more than high A; oval holes with bevelled edges, so that the first of a strip does nothing
and the next does much; the reed goes flat in the hour, the top most; low G, C or F stands apart; tape comes
half off now and then. Guarded by `tests/analytic/test_worlds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, HIGH_G, LOW_G, NOTES, C, F
from worlds.world import ALONG, Standing, faults_drawn, reaches_drawn, seated_mm

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_LEAKY = 0.15
#: How often a strip just put on comes half off.
_COMES_OFF = 0.05
_HANDLED_MM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Perverse:
    """One of them. Arrays are by note (9,) or by hole (8,); `reaches` is notes by holes."""

    right_mm: float
    faults_cents: FloatArray
    slopes: FloatArray
    idle_mm: FloatArray
    per_mm: FloatArray
    most_cents: FloatArray
    reaches: FloatArray
    falling_cents: FloatArray
    bottom_mm: float
    leaks_mm: float
    widths_mm: FloatArray

    def cents(self, seat_mm: FloatArray, tape_mm: FloatArray, minute: float) -> FloatArray:
        """Cents (n, 9) above the targets."""
        felt = seated_mm(seat_mm, bottom_mm=self.bottom_mm, leaks_mm=self.leaks_mm, left=_LEAKY)
        seat = self.slopes * (felt[:, None] - self.right_mm)
        falling = self.falling_cents * minute / 60
        return np.asarray(self.faults_cents + seat - falling - self.flattened(tape_mm) @ self.reaches.T)

    def flattened(self, tape_mm: FloatArray) -> FloatArray:
        """What tape (n, 8) takes off each hole's own note."""
        return np.asarray(
            np.minimum(self.per_mm * np.clip(tape_mm - self.idle_mm, 0.0, None), self.most_cents)
        )

    def handled(self, before: Standing, after: Standing, rng: np.random.Generator) -> Standing:
        """A strip that was touched may come half off."""
        touched = (np.abs(after.tape_mm - before.tape_mm) > _HANDLED_MM) & (after.tape_mm > 0)
        lost = touched & (rng.random(len(HOLES)) < _COMES_OFF)
        return Standing(seat_mm=after.seat_mm, tape_mm=np.where(lost, after.tape_mm / 2, after.tape_mm))


def perverse(seed: int) -> Perverse:
    """Draw one."""
    rng = np.random.default_rng([seed, 13])
    notes, holes = len(NOTES), len(HOLES)
    faults = faults_drawn(rng, 3.0, 4.0, low_g_sd=2.5)
    apart = NOTES.index(str(rng.choice([LOW_G, C, F])))
    faults[apart] += rng.choice([1.0, 1.0, -1.0]) * rng.uniform(6.0, 16.0)
    slopes = (rng.uniform(3.0, 6.0) + rng.uniform(4.0, 8.0) * ALONG) * rng.normal(1.0, 0.2, notes)
    slopes[NOTES.index(HIGH_G)] = slopes[NOTES.index(HIGH_A)] * rng.uniform(1.0, 1.3)
    reaches = reaches_drawn(rng, 0.0, 0.4)
    falling = rng.uniform(4.0, 12.0) + rng.uniform(0.0, 6.0) * ALONG + rng.normal(0.0, 1.0, notes)
    return Perverse(
        right_mm=float(np.clip(rng.normal(0.0, 1.2), -2.2, 2.2)),
        faults_cents=faults + rng.normal(0.0, 10.0),
        slopes=slopes,
        idle_mm=rng.uniform(0.2, 0.7, holes),
        per_mm=rng.uniform(3.5, 9.0, holes),
        most_cents=rng.uniform(20.0, 50.0, holes),
        reaches=reaches,
        falling_cents=falling,
        bottom_mm=float(rng.uniform(0.6, 2.0)),
        leaks_mm=float(rng.uniform(0.8, 2.0)),
        widths_mm=rng.uniform(4.2, 7.5, holes),
    )
