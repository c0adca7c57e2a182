"""How long a reed still has to be played until it settles, as chances; and how many of several will settle.

Guarded by `tests/analytic/test_break_in_chances.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, is_number, said

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_NORMAL: Final = NormalDist()
#: From 10 to 90 % of a normal distribution, in standard deviations.
_TEN_TO_NINETY_SD: Final = 2.0 * _NORMAL.inv_cdf(0.9)
#: No reed is foretold further than this, minutes.
_LONGEST_MIN: Final = 6000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StillToPlay:
    """Minutes until a reed settles: log-normal, or samples; it checks itself.

    Attributes
    ----------
    median_min : float > 0
        As likely sooner as later; not used where there are samples.
    log_sd : float >= 0
        Standard deviation of the natural logarithm of the minutes.
    samples_min : tuple of float
        Instead of these two: minutes, each as likely as the next; infinite for one in which it never settles.
    never : float
        The chance, 0 to 1, that it never settles however long it is played.

    Raises
    ------
    InputError
        Outside these. Guarded by `tests/faults/test_bad_plans.py`.
    """

    median_min: float = 0.0
    log_sd: float = 0.0
    samples_min: tuple[float, ...] = ()
    never: float = 0.0

    def __post_init__(self) -> None:
        if not is_finite(self.never) or not 0.0 <= self.never <= 1.0:
            _refuse("chance that it never settles", self.never, "a chance from 0 to 1 is needed", 1.0)
        if self.samples_min:
            for value in self.samples_min:
                if not is_number(value) or not value >= 0.0:
                    _refuse("minutes still to play", value, "0 or more is needed", None)
            return
        if not is_finite(self.median_min) or not 0.0 < self.median_min <= _LONGEST_MIN:
            allowed = f"more than 0 and up to {_LONGEST_MIN:g} min, or samples, are needed"
            _refuse("minutes still to play", self.median_min, allowed, _LONGEST_MIN)
        if not is_finite(self.log_sd) or not 0.0 <= self.log_sd <= 3.0:
            _refuse("spread of the minutes still to play", self.log_sd, "from 0 to 3 is allowed", 3.0)

    def by(self, played_min: float) -> float:
        """The chance that it has settled after so many minutes more."""
        if self.samples_min:
            share = sum(value <= played_min for value in self.samples_min) / len(self.samples_min)
        elif played_min <= 0.0:
            share = 0.0
        elif self.log_sd == 0.0:
            share = float(played_min >= self.median_min)
        else:
            share = _NORMAL.cdf(math.log(played_min / self.median_min) / self.log_sd)
        return (1.0 - self.never) * share

    def minutes_for(self, chance: float) -> float | None:
        """The fewest minutes after which it has settled with that chance, 0 < chance < 1; None for never."""
        share = chance / (1.0 - self.never) if self.never < 1.0 else math.inf
        if share >= 1.0:
            return None
        if self.samples_min:
            ordered = sorted(self.samples_min)
            found = ordered[max(0, math.ceil(share * len(ordered) - 1e-9) - 1)]
            return found if found <= _LONGEST_MIN else None
        found = self.median_min * math.exp(self.log_sd * _NORMAL.inv_cdf(share))
        # What is sought is a time at which `by` is at least the chance, rounding or not.
        found *= 1.0 + 1e-12
        return found if found <= _LONGEST_MIN else None


def from_three_times(early_min: float, middle_min: float, late_min: float | None) -> StillToPlay:
    """Log-normal minutes from the times by which it has settled with a chance of 10, 50 and 90 %.

    Parameters
    ----------
    early_min, middle_min : float
        10 and 50 %, min; 0 where it has settled by now.
    late_min : float or None
        90 %; None where that lies beyond what is foretold: the spread is then that of the early half.

    Returns
    -------
    StillToPlay
        With that median, and the spread of the two outer times.

    Raises
    ------
    InputError
        Times that run backwards. Guarded by `tests/faults/test_bad_plans.py`.
    """
    least = 1.0
    early, middle = max(early_min, least), max(middle_min, least)
    late = max(late_min, least) if late_min is not None else middle * middle / early
    if not early <= middle <= late:
        raise InputError(
            field="minutes until it has settled",
            given=f"{early:g}, {middle:g} and {late:g} min with 10, 50 and 90 %",
            allowed="each at least as long as the one before it",
            nearest=", ".join(f"{one:g}" for one in sorted((early, middle, late))) + " min",
        )
    return StillToPlay(median_min=middle, log_sd=math.log(late / early) / _TEN_TO_NINETY_SD)


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
