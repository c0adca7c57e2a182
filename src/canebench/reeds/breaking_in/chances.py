"""How long a reed still has to be played until it settles, as chances; and how many of several will settle.

Guarded by `tests/analytic/test_break_in_chances.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, said

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_NORMAL: Final = NormalDist()
#: No reed is foretold further than this, minutes.
_LONGEST_MIN: Final = 6000.0
#: A reed that settles less likely than this, however long it is played, is in no plan; an estimate of ours.
LEAST_MOST: Final = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class StillToPlay:
    """Minutes until a reed settles: log-normal, or a curve of chances; it checks itself.

    Attributes
    ----------
    median_min : float > 0
        As likely sooner as later; not used where there is a curve.
    log_sd : float >= 0
        Standard deviation of the natural logarithm of the minutes.
    never : float
        The chance, 0 to 1, that it never settles however long it is played; not used where there is a curve.
    curve : tuple of (float, float)
        Instead of these: minutes from 0 on and the chance that it has settled after them, both rising;
        straight between, and as at the end beyond it.

    Raises
    ------
    InputError
        Outside these. Guarded by `tests/faults/test_bad_plans.py`.
    """

    median_min: float = 0.0
    log_sd: float = 0.0
    never: float = 0.0
    curve: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if not is_finite(self.never) or not 0.0 <= self.never <= 1.0:
            _refuse("chance that it never settles", self.never, "a chance from 0 to 1 is needed", 1.0)
        if self.curve:
            _check_curve(self.curve)
            return
        if not is_finite(self.median_min) or not 0.0 < self.median_min <= _LONGEST_MIN:
            allowed = f"more than 0 and up to {_LONGEST_MIN:g} min, or a curve, are needed"
            _refuse("minutes still to play", self.median_min, allowed, _LONGEST_MIN)
        if not is_finite(self.log_sd) or not 0.0 <= self.log_sd <= 3.0:
            _refuse("spread of the minutes still to play", self.log_sd, "from 0 to 3 is allowed", 3.0)

    @property
    def most(self) -> float:
        """The chance that it settles at all, however long it is played."""
        return self.curve[-1][1] if self.curve else 1.0 - self.never

    def by(self, played_min: float) -> float:
        """The chance that it has settled after so many minutes more."""
        if self.curve:
            minutes, chances = zip(*self.curve, strict=True)
            return float(np.interp(played_min, minutes, chances))
        if played_min <= 0.0:
            share = 0.0
        elif self.log_sd == 0.0:
            share = float(played_min >= self.median_min)
        else:
            share = _NORMAL.cdf(math.log(played_min / self.median_min) / self.log_sd)
        return self.most * share

    def minutes_for(self, chance: float) -> float | None:
        """The fewest minutes after which it has settled with that chance, 0 < chance < 1; None for never."""
        if self.curve:
            return _first_at(self.curve, chance)
        share = chance / self.most if self.most > 0.0 else math.inf
        if share >= 1.0:
            return None
        found = self.median_min * math.exp(self.log_sd * _NORMAL.inv_cdf(share))
        # What is sought is a time at which `by` is at least the chance, rounding or not.
        found *= 1.0 + 1e-12
        return found if found <= _LONGEST_MIN else None

    def enough_min(self, sure: float) -> float | None:
        """Minutes to plan for: those for that chance; where it never gets there, for that share of its most.

        None where it hardly ever settles at all, or only beyond what is looked at.
        """
        if self.most < LEAST_MOST:
            return None
        wanted = self.minutes_for(sure)
        return self.minutes_for(sure * self.most) if wanted is None else wanted


def _check_curve(curve: tuple[tuple[float, float], ...]) -> None:
    before_min, before = -1.0, 0.0
    for minutes, chance in curve:
        if not is_finite(minutes) or not before_min < minutes <= _LONGEST_MIN:
            allowed = f"from 0 to {_LONGEST_MIN:g} min, each more than the one before"
            _refuse("minutes still to play", minutes, allowed, _LONGEST_MIN)
        if not is_finite(chance) or not before <= chance <= 1.0:
            _refuse("chance that it has settled", chance, "from 0 to 1, none below the one before", 1.0)
        before_min, before = minutes, chance


def _first_at(curve: tuple[tuple[float, float], ...], chance: float) -> float | None:
    """Where a rising curve first has a chance: on the straight line to the first point that does."""
    before_min, before = curve[0]
    if before >= chance:
        return before_min
    for minutes, here in curve[1:]:
        if here >= chance:
            found = before_min + (minutes - before_min) * (chance - before) / (here - before)
            return min(minutes, found * (1.0 + 1e-12))
        before_min, before = minutes, here
    return None


def settle_counts(chances: Sequence[float]) -> tuple[float, ...]:
    """The chance that none, one, two and so on of several reeds settle: the Poisson-binomial distribution.

    Each for itself: what makes a whole lot slow is not in it, so that it is too sure where that is so.

    Parameters
    ----------
    chances : sequence of float
        Of each reed, 0 to 1.

    Returns
    -------
    tuple of float
        One more than there are reeds; they add up to 1. Guarded by `tests/analytic/test_break_in_chances.py`.
    """
    found = [1.0]
    for chance in chances:
        without, with_it = [*found, 0.0], [0.0, *found]
        found = [(1.0 - chance) * a + chance * b for a, b in zip(without, with_it, strict=True)]
    return tuple(found)


def at_least(wanted: int, chances: Iterable[float]) -> float:
    """The chance that at least so many of several reeds settle.

    Parameters
    ----------
    wanted : int
        How many.
    chances : float each
        Of each reed, 0 to 1.

    Returns
    -------
    float
        1 where none is wanted. Guarded by `tests/analytic/test_break_in_chances.py`.
    """
    if wanted <= 0:
        return 1.0
    return min(1.0, math.fsum(settle_counts(tuple(chances))[wanted:]))


def sure_of(chance: float, chances: Sequence[float]) -> int:
    """How many of several reeds one may count on with that chance.

    Parameters
    ----------
    chance : float
        How sure, 0 to 1.
    chances : sequence of float
        Of each reed, 0 to 1.

    Returns
    -------
    int
        The most for which at least so many settle with that chance or a better one.
    """
    return max(count for count in range(len(chances) + 1) if at_least(count, chances) >= chance)


def _refuse(field: str, given: float, allowed: str, most: float | None) -> None:
    near = None
    if is_finite(given):
        near = "0" if given < 0 else (f"{most:g}" if most is not None else None)
    raise InputError(field=field, given=said(given), allowed=allowed, nearest=near)
