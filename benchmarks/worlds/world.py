"""What every world is: pitches of nine notes for where the reed and the tape really are, at a minute.

No world imports anything of `canebench.bore`. Cents here count from the harmonic scale on a low A of 480 Hz;
what a piper hears counts from the chanter's own low A (`heard_cents`), as the command does by default.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from canebench.base.fingering import HOLES, OPEN_HOLES
from canebench.base.notes import HIGH_A, LOW_A, LOW_G, NOTES
from canebench.base.scales import DEFAULT_SCALE

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, FloatArray

PITCH_HZ: Final = 480.0
LOW_A_AT: Final = NOTES.index(LOW_A)
#: Targets in scale order, Hz.
TARGETS_HZ: Final = PITCH_HZ * np.array([DEFAULT_SCALE.ratios[note] for note in NOTES])
#: Where each note lies between low A (0) and high A (1).
ALONG: Final = np.log2(TARGETS_HZ / PITCH_HZ)
#: The note that speaks from each hole.
OWN_NOTES: Final = np.array([NOTES.index(hole) for hole in HOLES])
#: Which holes are open, notes by holes.
OPEN: Final[BoolArray] = np.array([[hole in OPEN_HOLES[note] for hole in HOLES] for note in NOTES])


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where the reed and the tape really are: mm deeper than the first hand seat, mm over each hole (8,)."""

    seat_mm: float
    tape_mm: FloatArray


class World(Protocol):
    """One chanter with one reed."""

    @property
    def widths_mm(self) -> FloatArray:
        """How far tape can reach down each hole (8,)."""
        ...

    @property
    def bottom_mm(self) -> float:
        """How much deeper the reed can go."""
        ...

    def cents(self, seat_mm: FloatArray, tape_mm: FloatArray, minute: float) -> FloatArray:
        """Cents (n, 9) above the targets for seats (n,) and tape (n, 8)."""
        ...

    def handled(self, before: Standing, after: Standing, rng: np.random.Generator) -> Standing:
        """What becomes of a setting once the hands have left it."""
        ...


def cents_at(world: World, standing: Standing, minute: float) -> FloatArray:
    """Cents (9,) above the targets, without blowing."""
    return np.asarray(world.cents(np.array([standing.seat_mm]), standing.tape_mm[None, :], minute)[0])


def heard_cents(cents: FloatArray) -> FloatArray:
    """Cents above the scale on the chanter's own low A."""
    return np.asarray(cents - cents[..., [LOW_A_AT]])


def to_hz(cents: FloatArray) -> FloatArray:
    """Pitches of cents above the targets."""
    return np.asarray(TARGETS_HZ * np.exp2(cents / 1200))


def faults_drawn(rng: np.random.Generator, mean: float, sd: float, *, low_g_sd: float) -> FloatArray:
    """Cents (9,) by which each note is off where the octave is nearly right, counted from low A."""
    faults = rng.normal(mean, sd, len(NOTES))
    faults[NOTES.index(LOW_G)] = rng.normal(0.0, low_g_sd)
    faults[LOW_A_AT] = 0.0
    faults[NOTES.index(HIGH_A)] = rng.normal(0.0, 2.5)
    return np.asarray(faults)


def reaches_drawn(rng: np.random.Generator, low: float, high: float) -> FloatArray:
    """Notes by holes: a strip's whole effect on the hole's own note, a share of it on others that open it."""
    reaches = np.where(OPEN, rng.uniform(low, high, OPEN.shape), 0.0)
    reaches[OWN_NOTES, np.arange(len(HOLES))] = 1.0
    return np.asarray(reaches)


def seated_mm(seat_mm: FloatArray, *, bottom_mm: float, leaks_mm: float, left: float) -> FloatArray:
    """The seat as the pitch feels it: none below the bottom, a share of it beyond where it leaks."""
    felt = np.minimum(seat_mm, bottom_mm)
    return np.asarray(np.where(felt < -leaks_mm, -leaks_mm + left * (felt + leaks_mm), felt))
