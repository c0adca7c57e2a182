"""Pipers: what they play and what their hands make of an act. They tell the setting that they meant.

Scatter of blowing, of hands and how often things go wrong are estimates from practice. Guarded by
`tests/analytic/test_worlds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from worlds.world import Standing, cents_at, to_hz

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting
    from worlds.world import World

#: What `canebench measure` states of a reading beside how it really repeats: a little less, and it varies.
_STATED: Final = 0.8
_STATED_VARIES: Final = 0.3
_POSTS: Final = (LOW_A, HIGH_A)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piper:
    """One piper.

    `note_cents` and `common_cents` are how takes repeat, each note by itself and all together; `seat_mm` and
    `tape_mm` what the hands scatter; `misses` the chance that a take lacks a note that is not an A; `slips`
    the chance of each kind of slip in a round: an act done the wrong way, half of it done, not told of; two
    notes missed in a take.
    """

    note_cents: float = 1.5
    common_cents: float = 2.0
    seat_mm: float = 0.1
    tape_mm: float = 0.15
    misses: float = 0.1
    slips: float = 0.0

    def hears(
        self, world: World, standing: Standing, minute: float, rng: np.random.Generator
    ) -> tuple[FloatArray, FloatArray]:
        """One take: pitches (9,), NaN where missed, and the standard uncertainties stated with them."""
        blown = self.note_cents * rng.normal(size=len(NOTES)) + self.common_cents * rng.normal()
        hz = to_hz(cents_at(world, standing, minute) + blown)
        sd = self.note_cents * _STATED * np.exp(_STATED_VARIES * rng.normal(size=len(NOTES)))
        between = [i for i, note in enumerate(NOTES) if note not in _POSTS]
        missed: list[int] = []
        if rng.random() < self.misses:
            missed = [int(rng.choice(between))]
        if rng.random() < self.slips:
            missed = [int(one) for one in rng.choice(len(NOTES), size=2, replace=False)]
        hz[missed], sd[missed] = np.nan, np.inf
        return hz, np.maximum(sd, 0.3)

    def does_all(
        self,
        world: World,
        standing: Standing,
        told: Setting,
        wanted: Sequence[Setting],
        rng: np.random.Generator,
    ) -> tuple[Standing, Setting]:
        """The acts of a round: where things then really stand, and the setting that is told."""
        slip, at = rng.random(), int(rng.integers(max(1, len(wanted))))
        meant = told
        for i, setting in enumerate(wanted):
            share = 1.0
            if i == at and slip < 2 * self.slips:
                share = -1.0 if slip < self.slips else 0.5
            standing = self.does(world, standing, meant, setting, rng, share=share)
            # An act that is forgotten is missing from the setting told, now and later.
            if not (i == at and 2 * self.slips <= slip < 3 * self.slips):
                told = _with_change(told, meant, setting)
            meant = setting
        return standing, told

    def does(
        self,
        world: World,
        standing: Standing,
        told: Setting,
        wanted: Setting,
        rng: np.random.Generator,
        *,
        share: float = 1.0,
    ) -> Standing:
        """One act, or a share of it: where things then really stand."""
        travel = wanted.seat_mm - told.seat_mm
        seat = standing.seat_mm
        if travel != 0:
            seat = min(seat + share * travel + self.seat_mm * rng.normal(), world.bottom_mm)
        tape = standing.tape_mm.copy()
        for i, hole in enumerate(HOLES):
            before, after = told.tape_mm.get(hole, 0.0), wanted.tape_mm.get(hole, 0.0)
            if before == after:
                continue
            tape[i] = 0.0
            if after > 0:
                # A strip is laid anew, by eye; the wrong way is more where less was meant.
                laid = before + share * (after - before) + self.tape_mm * rng.normal()
                tape[i] = float(np.clip(laid, 0.0, world.widths_mm[i]))
        return world.handled(standing, Standing(seat_mm=seat, tape_mm=tape), rng)


def _with_change(told: Setting, before: Setting, after: Setting) -> Setting:
    """What is told, with the change from one setting to the next."""
    tape = {
        hole: after.tape_mm.get(hole, 0.0)
        if after.tape_mm.get(hole, 0.0) != before.tape_mm.get(hole, 0.0)
        else told.tape_mm.get(hole, 0.0)
        for hole in HOLES
    }
    return replace(told, seat_mm=told.seat_mm + after.seat_mm - before.seat_mm, tape_mm=tape)


PIPERS: Final = {
    "exact": Piper(seat_mm=0.0, tape_mm=0.0),
    "careful": Piper(),
    "erring": Piper(slips=0.05),
}
