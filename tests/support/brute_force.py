"""What the truth of a chanter allows: the smallest largest deviation over every seat step and all tape.

Independent of the plan: tables taken from the true chanter, a linear programme over the amounts of tape for
each seat step, and the solutions of the best steps corrected on the truth itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog

from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.model_response import deviations_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.fitting.limits import Limits
    from support.true_chanters import TrueChanter

_SHARES = np.linspace(0.0, 1.0, 9)
_TRIED = 4
_ROUNDS = 4
_OWN = [NOTES.index(hole) for hole in HOLES]
_LOW_A = NOTES.index(LOW_A)


def reachable_cents(true: TrueChanter, fitting: Fitting, limits: Limits) -> float:
    """The smallest largest deviation that any setting within the limits has on the true chanter."""
    chanter = true.instrument.chanter
    seats = limits.seats_mm(0.0, deepest_mm=chanter.seat.gap_mm)
    bare = deviations_cents(fitting, true.hz([Setting(seat_mm=float(seat)) for seat in seats]))
    follow = fitting.reference_hz is None
    solved = []
    for row, seat in enumerate(seats):
        if row % 4 == 0:
            table = _Table(true, float(seat), limits)
        tape, worst = table.best(bare[row], follow=follow)
        solved.append((worst, float(seat), row, tape, table))
    solved.sort(key=lambda one: one[0])
    return min(_on_the_truth(true, fitting, one[1], bare[one[2]], one[4]) for one in solved[:_TRIED])


def _on_the_truth(true: TrueChanter, fitting: Fitting, seat: float, bare: FloatArray, table: _Table) -> float:
    """Programme, look, correct the table by what was seen, and again."""
    follow = fitting.reference_hz is None
    shift, best = np.zeros(len(NOTES)), np.inf
    for _ in range(_ROUNDS):
        tape, _worst = table.best(bare + shift, follow=follow)
        setting = Setting(seat_mm=seat, tape_mm=table.millimetres(tape))
        seen = deviations_cents(fitting, true.hz([setting]))[0]
        best = min(best, float(np.abs(seen).max()))
        shift = shift + seen - table.left(bare + shift, tape, follow=follow)
    return best


class _Table:
    """What tape does on the true chanter at one depth."""

    def __init__(self, true: TrueChanter, seat: float, limits: Limits) -> None:
        holes = true.instrument.chanter.holes
        self.reach = np.outer([hole.diameter_mm * limits.tape_share for hole in holes], _SHARES)
        settings = [
            Setting(seat_mm=seat, tape_mm={hole: float(mm)})
            for i, hole in enumerate(HOLES)
            for mm in self.reach[i]
        ]
        hz = true.hz(settings).reshape(len(HOLES), _SHARES.size, len(NOTES))
        self.flatter = -1200 * np.log2(hz / hz[:, :1])
        self.own = np.stack([self.flatter[i, :, note] for i, note in enumerate(_OWN)])
        self.takes = (self.flatter[:, -1] / self.own[:, -1:]).T

    def _effect(self, *, follow: bool) -> FloatArray:
        return np.asarray(self.takes - self.takes[[_LOW_A]] if follow else self.takes)

    def left(self, bare: FloatArray, tape: FloatArray, *, follow: bool) -> FloatArray:
        return np.asarray(bare - self._effect(follow=follow) @ tape)

    def best(self, bare: FloatArray, *, follow: bool) -> tuple[FloatArray, float]:
        """Minimise z with -z <= bare - takes tape <= z and 0 <= tape <= most."""
        takes = self._effect(follow=follow)
        ones = np.ones((len(NOTES), 1))
        found = linprog(
            [*np.zeros(len(HOLES)), 1.0],
            A_ub=np.block([[-takes, -ones], [takes, -ones]]),
            b_ub=np.concatenate([-bare, bare]),
            bounds=[*((0.0, most) for most in self.own[:, -1]), (0.0, None)],
        )
        return found.x[:-1], float(found.fun)

    def millimetres(self, tape: FloatArray) -> dict[str, float]:
        return {
            hole: float(np.interp(tape[i], np.maximum.accumulate(self.own[i]), self.reach[i]))
            for i, hole in enumerate(HOLES)
        }
