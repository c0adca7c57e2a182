"""One who knows how this chanter answers to seat and tape, but hears no better than the tool does.

What such a one reaches by a plain rule is about the most that advice can: what is left are blowing, hands and
slips. The notes' faults are known from takes alone; the reed's course through the hour is known.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from worlds.advice import Advice, AdvisedAct
from worlds.reach import reachable
from worlds.world import TARGETS_HZ, Standing, cents_at, heard_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.bench.acts.fitting.fitting import Fitting
    from worlds.world import World

#: Nearer than this to the scale nothing is asked, cents.
_LEFT_CENTS: Final = 4.0
_GAIN: Final = 0.5
_ENOUGH_CENTS: Final = 1.5
_LEAST_SEAT_MM: Final = 0.2
_LEAST_TAPE_MM: Final = 0.3
#: The acts take so long.
_ACTS_MIN: Final = 6.0
#: What blowing and hands leave of a note, cents.
_BLOWN_CENTS: Final = 1.5
_HANDS_CENTS: Final = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """The world as takes have shown it: shifted, note by note."""

    world: World
    shift_cents: FloatArray

    @property
    def widths_mm(self) -> FloatArray:
        return self.world.widths_mm

    @property
    def bottom_mm(self) -> float:
        return self.world.bottom_mm

    def cents(self, seat_mm: FloatArray, tape_mm: FloatArray, minute: float) -> FloatArray:
        return np.asarray(self.world.cents(seat_mm, tape_mm, minute) + self.shift_cents)

    def handled(self, before: Standing, after: Standing, rng: np.random.Generator) -> Standing:
        return self.world.handled(before, after, rng)


@dataclass(slots=True, kw_only=True)
class Knowing:
    """Gives advice in the tool's place; `began` is the first setting, told as seat 0."""

    world: World
    began: Standing
    _shift_cents: FloatArray = field(default_factory=lambda: np.zeros(len(NOTES)))
    _takes: int = 0

    def __call__(self, fitting: Fitting, minute: float) -> Advice:
        """After a take at a minute."""
        started = time.process_time()
        take = fitting.takes[-1].take
        off = 1200 * np.log2(take.hz / TARGETS_HZ) - cents_at(
            self.world, self._standing(take.setting), minute
        )
        self._takes += 1
        # The first take is all that is known; then the newest counts for more, since hands scatter.
        gain = max(1 / self._takes, _GAIN)
        self._shift_cents = self._shift_cents + gain * np.nan_to_num(off - self._shift_cents)
        heard = _Heard(world=self.world, shift_cents=self._shift_cents)
        now = heard_cents(cents_at(heard, self._standing(take.setting), minute))
        acts: tuple[AdvisedAct, ...] = ()
        if np.abs(now).max() > _LEFT_CENTS:
            sd = np.hypot(_BLOWN_CENTS * np.sqrt(2 / self._takes), _HANDS_CENTS)
            acts = self._acts(heard, take.setting, minute + _ACTS_MIN, float(sd))
        return Advice(
            kind="acts" if acts else "leave",
            acts=acts,
            set_aside=False,
            milliseconds=1000 * (time.process_time() - started),
        )

    def _standing(self, setting: Setting) -> Standing:
        tape = np.array([setting.tape_mm.get(hole, 0.0) for hole in HOLES])
        seat = min(self.began.seat_mm + setting.seat_mm, self.world.bottom_mm)
        return Standing(seat_mm=seat, tape_mm=tape)

    def _acts(self, heard: _Heard, told: Setting, minute: float, sd: float) -> tuple[AdvisedAct, ...]:
        """The seat, then the strips that matter most."""
        here = self._standing(told)
        best = reachable(heard, minute, about_mm=here.seat_mm, enough_cents=_ENOUGH_CENTS).standing
        seat = told.seat_mm + best.seat_mm - here.seat_mm
        change = best.tape_mm - here.tape_mm
        settings = []
        if abs(seat - told.seat_mm) > _LEAST_SEAT_MM:
            told = Setting(seat_mm=seat, tape_mm=told.tape_mm)
            settings.append(told)
        for i in np.argsort(-np.abs(change)):
            if abs(change[i]) > _LEAST_TAPE_MM:
                told = Setting(
                    seat_mm=told.seat_mm, tape_mm={**told.tape_mm, HOLES[i]: float(best.tape_mm[i])}
                )
                settings.append(told)
        return tuple(
            AdvisedAct(
                code="known",
                setting=setting,
                cents=heard_cents(cents_at(heard, self._standing(setting), minute)),
                sd_cents=np.full(len(NOTES), sd),
            )
            for setting in settings
        )
