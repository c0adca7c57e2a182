"""A chanter without a bore: each note answers seat and tape in its own way.

Seat: straight and bent parts per note, about 4 cents for a millimetre at low A and 10 at high A, no note
quite in line, and a slow wave as where a reed couples otherwise at another depth. Tape: little at first, then
more, then no more; mostly on the hole's own note, some on the notes that open it as well. The reed closes up
through the hour. Sizes are estimates from practice, none is taken from the model. Guarded by
`tests/analytic/test_worlds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from worlds.world import ALONG, faults_drawn, reaches_drawn, seated_mm

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from worlds.world import Standing

#: The reed has closed up by two thirds of what it will after so long, minutes.
_CLOSING_MIN = 25.0
#: What is left of the seat's effect beyond where it leaks.
_LEAKY = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class PerNote:
    """One of them. Arrays are by note (9,) or by hole (8,); `reaches` is notes by holes."""

    right_mm: float
    faults_cents: FloatArray
    slopes: FloatArray
    bends: FloatArray
    waves_cents: FloatArray
    phases: FloatArray
    most_cents: FloatArray
    halfway: FloatArray
    steep: FloatArray
    reaches: FloatArray
    closing_cents: FloatArray
    bottom_mm: float
    leaks_mm: float
    widths_mm: FloatArray

    def cents(self, seat_mm: FloatArray, tape_mm: FloatArray, minute: float) -> FloatArray:
        """Cents (n, 9) above the targets."""
        felt = seated_mm(seat_mm, bottom_mm=self.bottom_mm, leaks_mm=self.leaks_mm, left=_LEAKY)
        off = felt[:, None] - self.right_mm
        wave = self.waves_cents * (np.sin(1.6 * off + self.phases) - np.sin(self.phases))
        seat = self.slopes * off + self.bends * off**2 + wave
        closed = self.closing_cents * (1 - np.exp(-minute / _CLOSING_MIN))
        return np.asarray(self.faults_cents + seat + closed - self.flattened(tape_mm) @ self.reaches.T)

    def flattened(self, tape_mm: FloatArray) -> FloatArray:
        """What tape (n, 8) takes off each hole's own note."""
        share = np.clip(tape_mm / self.widths_mm, 0.0, 1.0) ** self.steep
        return np.asarray(self.most_cents * share / (share + self.halfway**self.steep))

    def handled(self, before: Standing, after: Standing, rng: np.random.Generator) -> Standing:  # noqa: ARG002
        """Tape stays where it was put."""
        return after


def per_note(seed: int) -> PerNote:
    """Draw one."""
    rng = np.random.default_rng([seed, 11])
    notes, holes = len(NOTES), len(HOLES)
    faults = faults_drawn(rng, 2.5, 5.0, low_g_sd=3.0)
    low, high = rng.uniform(3.5, 5.5), rng.uniform(8.5, 12.0)
    # Notes above low A open its hole too; how much tape there moves them differs from note to note.
    reaches = reaches_drawn(rng, 0.05, 0.3)
    return PerNote(
        right_mm=float(np.clip(rng.normal(0.0, 1.5), -3.0, 3.0)),
        faults_cents=faults + rng.normal(0.0, 8.0),
        slopes=(low + (high - low) * ALONG) * rng.normal(1.0, 0.12, notes),
        bends=rng.normal(0.0, 0.3, notes),
        waves_cents=rng.uniform(0.0, 1.5, notes),
        phases=rng.uniform(0.0, 2 * np.pi, notes),
        most_cents=rng.uniform(22.0, 52.0, holes),
        halfway=rng.uniform(0.6, 0.9, holes),
        steep=rng.uniform(1.5, 2.0, holes),
        reaches=reaches,
        closing_cents=rng.uniform(2.0, 10.0) + rng.normal(1.5, 1.5) * ALONG + rng.normal(0.0, 0.7, notes),
        bottom_mm=float(rng.uniform(1.0, 3.0)),
        leaks_mm=float(rng.uniform(1.5, 3.5)),
        widths_mm=rng.uniform(4.5, 7.2, holes),
    )
