"""The best setting within limits: which seat step, which holes to tape, and how much.

With d the deviations without tape and t >= 0 what tape takes from each hole's own note, d - C t is left, C
holding what tape on one hole does to the others' notes. For a given seat and given holes this is a least
squares problem with bounds. All seat steps and all 256 choices of holes are solved: at the optimum with
t >= 0 the holes with t > 0 form one of these choices (Lawson & Hanson 1974, *Solving Least Squares
Problems*, ch. 23), so that the search over seat steps and strips is exact, but for holes that would need more
tape than is allowed: those are held at the most. Where least squares leaves a note
outside its tolerance, a power mean of growing order brings the largest remainder down (Polya's algorithm).
Guarded by `tests/cross_method/test_optimum.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, NOTES

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.fitting.response import Response

#: Every choice of holes to tape: shape (256, 8).
CHOICES: Final = np.array(list(product((False, True), repeat=len(HOLES))))
#: What a cent of tape costs against a tolerance of being off: only breaks ties.
_SPARING: Final = 1e-4
_LOW_A: Final = NOTES.index(LOW_A)
#: Candidates of each number of strips that are brought below their largest remainder.
_REFINED: Final = 4
#: A strip has to bring the worst note this much nearer, in tolerances, or all of them in tune.
_WORTH_A_STRIP: Final = 0.05
_POWERS: Final = (2, 3, 4, 6, 8, 12, 16, 24, 32, 48)


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingCandidate:
    """A setting as the tables know it: `seat` step, `tape_cents` (8,) off each hole's own note.

    `left_cents` (9,) is what remains.
    `worst` is the largest deviation over its tolerance: 1 or less is in tune.
    """

    seat: int
    tape_cents: FloatArray
    left_cents: FloatArray
    worst: float

    @property
    def strips(self) -> int:
        """How many holes are taped."""
        return int(np.count_nonzero(self.tape_cents))


def best_by_strips(
    response: Response, tolerance_cents: FloatArray, *, follow_low_a: bool, most_strips: int = len(HOLES)
) -> list[SettingCandidate]:
    """The best setting with no strip, one strip, and so on; each better than those before.

    Parameters
    ----------
    response : Response
        What seat and tape do.
    tolerance_cents : array (9,)
        How far off each note may be, > 0.
    follow_low_a : bool
        The drones follow low A, so that only intervals above low A count; otherwise the pitch is fixed.
    most_strips : int
        How many holes may be taped.
    """
    problem = _Problem.of(response, tolerance_cents, follow_low_a=follow_low_a)
    tape, worst = problem.all_choices()
    strips = CHOICES.sum(axis=1)
    found: list[SettingCandidate] = []
    for count in range(most_strips + 1):
        of_count = np.flatnonzero(strips == count)
        order = np.argsort(worst[:, of_count], axis=None)[:_REFINED]
        tried = [
            problem.candidate(int(seat), int(of_count[column]), tape[seat, of_count[column]])
            for seat, column in zip(*np.unravel_index(order, (worst.shape[0], of_count.size)), strict=True)
        ]
        best = min(tried, key=lambda one: (max(one.worst, 1.0), problem.cost(one)))
        gained = found[-1].worst - best.worst if found else np.inf
        if gained >= _WORTH_A_STRIP or (gained > 0 and best.worst <= 1 < found[-1].worst):
            found.append(best)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Problem:
    """Deviations over tolerance (S, 9), and what a cent of tape takes off them (9, 8)."""

    bare: FloatArray
    takes: FloatArray
    most: FloatArray
    tolerance: FloatArray

    @classmethod
    def of(cls, response: Response, tolerance_cents: FloatArray, *, follow_low_a: bool) -> _Problem:
        bare, takes = response.bare_cents, response.cross
        if follow_low_a:
            bare = bare - bare[:, [_LOW_A]]
            takes = takes - takes[[_LOW_A]]
        return cls(
            bare=bare / tolerance_cents,
            takes=takes / tolerance_cents[:, None],
            most=response.own_cents[:, -1],
            tolerance=tolerance_cents,
        )

    def all_choices(self) -> tuple[FloatArray, FloatArray]:
        """Least squares for every seat and choice: tape (S, 256, 8) and the worst left (S, 256)."""
        normal = self.takes.T @ self.takes + _SPARING * np.eye(len(HOLES))
        chosen = CHOICES[:, :, None] & CHOICES[:, None, :]
        inverse = np.linalg.inv(np.where(chosen, normal, np.eye(len(HOLES)))) * chosen
        tape = np.einsum("cij,sj->sci", inverse, self.bare @ self.takes)
        tape = np.clip(tape, 0.0, self.most)
        return tape, np.abs(self.left(self.bare[:, None, :], tape)).max(axis=-1)

    def left(self, bare: FloatArray, tape: FloatArray) -> FloatArray:
        """What remains over tolerance."""
        return np.asarray(bare - tape @ self.takes.T)

    def candidate(self, seat: int, choice: int, tape: FloatArray) -> SettingCandidate:
        """The least squares setting where it is in tune, else the one with the smallest largest remainder."""
        left = self.left(self.bare[seat], tape)
        if np.abs(left).max() > 1:
            tape = self._level(self.bare[seat], tape, CHOICES[choice])
            left = self.left(self.bare[seat], tape)
        return SettingCandidate(
            seat=seat,
            tape_cents=tape,
            left_cents=left * self.tolerance,
            worst=float(np.abs(left).max()),
        )

    def cost(self, candidate: SettingCandidate) -> float:
        """Sum of squares over tolerance: decides between settings that are all in tune."""
        return float(np.sum((candidate.left_cents / self.tolerance) ** 2))

    def _level(self, bare: FloatArray, tape: FloatArray, choice: BoolArray) -> FloatArray:
        """Minimise the sum of |left|^p for growing p, by weighted least squares with damped steps."""
        best, lowest = tape, float(np.abs(self.left(bare, tape)).max())
        for power in _POWERS:
            left = np.abs(self.left(bare, tape))
            weight = (left / left.max()) ** (power - 2) + 1e-9
            free = choice.copy()
            # Holes at a bound leave the set of free ones, at most once each.
            for _ in range(len(HOLES)):
                target = self._weighted(bare, weight, free, np.where(free, 0.0, tape))
                outside = free & ((target < 0) | (target > self.most))
                if not outside.any():
                    break
                tape = np.where(outside, np.clip(target, 0.0, self.most), tape)
                free &= ~outside
            tape = np.clip(tape + (target - tape) / (power - 1), 0.0, self.most)
            worst = float(np.abs(self.left(bare, tape)).max())
            if worst < lowest:
                best, lowest = tape, worst
        return best

    def _weighted(
        self, bare: FloatArray, weight: FloatArray, free: BoolArray, held: FloatArray
    ) -> FloatArray:
        """Weighted least squares over the free holes, the others held."""
        if not free.any():
            return held
        takes = self.takes[:, free]
        normal = takes.T @ (weight[:, None] * takes) + _SPARING * 1e-2 * np.eye(takes.shape[1])
        found = held.copy()
        found[free] = np.linalg.solve(normal, takes.T @ (weight * self.left(bare, held)))
        return found
