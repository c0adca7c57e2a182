"""How much: the amounts of an act that the rules have chosen, so that the notes come in tune most surely.

Of every setting that the rules allow the expected loss is computed from the belief, with all its doubt: for
each heard note the square of what lies beyond a third of its tolerance. So the aim is inside the tolerance,
where the next breath calls for no other act. Each act has a price; one that gains less is not asked.
Guarded by `tests/analytic/test_sizing.py`, `tests/analytic/test_expected_loss.py` and `benchmarks/rounds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, NOTES

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.base.setting import Setting
    from canebench.fitting.belief import Belief

#: A strip's smallest change, and the steps it is told in, mm.
LEAST_TAPE_MM, _TAPE_STEP_MM = 0.5, 0.25
#: What an act costs, in squared tolerances beyond where a note begins to (an estimate of ours).
PRICE: Final = 0.1
#: Where a note begins to cost, in tolerances.
_INSIDE: Final = 0.3
_LOW_A: Final = NOTES.index(LOW_A)
#: Nodes and weights for the mean over a normal distribution (Gauss and Hermite; Abramowitz & Stegun 1964,
#: eq. 25.4.46).
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What is aimed at: cents (9,) of each note's target on the belief's scale, and how near.

    `follow_low_a` says that low A is the reference whatever it plays; `counted` (9,) which notes count.
    """

    tolerance_cents: FloatArray
    counted: BoolArray
    follow_low_a: bool

    def loss(self, cents: FloatArray, covariance: FloatArray) -> FloatArray:
        """Expected loss of each of n settings, cents (n, 9), covariance (n, 9, 9)."""
        mean, variance = deviations(cents, covariance, follow_low_a=self.follow_low_a)
        off = np.abs(mean[..., None] + np.sqrt(variance)[..., None] * _NODES) / self.tolerance_cents[:, None]
        each = np.maximum(0.0, off - _INSIDE) ** 2 @ _WEIGHTS
        return np.asarray(each @ self.counted.astype(float))


def deviations(
    cents: FloatArray, covariance: FloatArray, *, follow_low_a: bool
) -> tuple[FloatArray, FloatArray]:
    """How far each note is from its target, and how unsure that is.

    Parameters
    ----------
    cents : array (n, 9)
        Cents above the targets of the belief.
    covariance : array (n, 9, 9)
        Theirs, cents squared.
    follow_low_a : bool
        Count from low A, whatever it plays.

    Returns
    -------
    array (n, 9), array (n, 9)
        Deviations, cents, and their variance, cents squared.
    """
    variance = np.diagonal(covariance, axis1=-2, axis2=-1)
    if follow_low_a:
        variance = variance + variance[..., [_LOW_A]] - 2 * covariance[..., _LOW_A, :]
        cents = cents - cents[..., [_LOW_A]]
    return cents, np.maximum(variance, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """What the rules allow: depths of the seat, holes whose strip may grow or shrink, and how many acts.

    `tape_most_mm` (8,) is the most on each hole; `must_move` allows strips only beside a move of the seat.
    """

    seats_mm: Sequence[float]
    grow: Collection[str]
    shrink: Collection[str]
    tape_most_mm: FloatArray
    most_acts: int
    must_move: bool


def sized(belief: Belief, present: Setting, aim: Aim, allowed: Allowed) -> Setting:
    """The best setting that the rules allow; the present one where nothing is worth its price.

    Parameters
    ----------
    belief : Belief
        What is thought of the reed in the chanter.
    present : Setting
        Where it is now.
    aim : Aim
        What is aimed at.
    allowed : Allowed
        What the rules allow.

    Returns
    -------
    Setting
    """
    best, least = present, _losses(belief, [present], aim).item()
    for seat_mm in allowed.seats_mm if allowed.must_move else (present.seat_mm, *allowed.seats_mm):
        moved = replace(present, seat_mm=seat_mm)
        acts = int(seat_mm != present.seat_mm)
        setting, loss = _strips(belief, present, moved, aim, allowed, most=allowed.most_acts - acts)
        loss += PRICE * acts
        if loss < least:
            best, least = setting, loss
    return best


def _strips(
    belief: Belief, present: Setting, moved: Setting, aim: Aim, allowed: Allowed, *, most: int
) -> tuple[Setting, float]:
    """Strips one after another, each the best, while they are worth their price."""
    setting, loss = moved, _losses(belief, [moved], aim).item()
    changed: set[str] = set()
    while len(changed) < most:
        choices = [
            (hole, amount)
            for hole in HOLES
            if hole not in changed
            for amount in _amounts(hole, present.tape_mm.get(hole, 0.0), allowed)
        ]
        if not choices:
            break
        tried = [replace(setting, tape_mm={**setting.tape_mm, hole: amount}) for hole, amount in choices]
        losses = _losses(belief, tried, aim)
        best = int(np.argmin(losses))
        if losses[best] + PRICE >= loss:
            break
        setting, loss = tried[best], float(losses[best])
        changed.add(choices[best][0])
    return setting, loss + PRICE * len(changed)


def _amounts(hole: str, now_mm: float, allowed: Allowed) -> list[float]:
    """What a strip on this hole may become."""
    most = float(allowed.tape_most_mm[HOLES.index(hole)])
    grid = np.arange(LEAST_TAPE_MM, most + 1e-9, _TAPE_STEP_MM)
    found = [float(mm) for mm in grid if hole in allowed.grow and mm >= now_mm + LEAST_TAPE_MM]
    if hole in allowed.shrink:
        found += [0.0, *(float(mm) for mm in grid if mm <= now_mm - LEAST_TAPE_MM)]
    return found


def _losses(belief: Belief, settings: Sequence[Setting], aim: Aim) -> FloatArray:
    return aim.loss(*belief.predict(settings))
