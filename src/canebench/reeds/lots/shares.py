"""A share of a lot with its interval, and the difference of two: Wilson 1927, Newcombe 1998.

Guarded by `tests/published/test_newcombe.py` and `tests/analytic/test_lot_shares.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, said

if TYPE_CHECKING:
    from collections.abc import Sequence

#: How often an interval is to hold what it is for.
COVERS: Final = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A value and between which two it lies; `low` and `high` None where that cannot be said."""

    value: float
    low: float | None
    high: float | None


def share(hits: int, of: int, *, covers: float = COVERS) -> Interval:
    """How many of so many, as a share.

    Wilson's score interval (1927, *J. Am. Stat. Assoc.* 22:209), good at small numbers and at 0 and 1.

    Parameters
    ----------
    hits, of : int
        From 0 to `of`; `of` 0 gives an interval from 0 to 1.
    covers : float
        From 0.5 to 0.999.

    Returns
    -------
    Interval
        Within 0 and 1; its value is NaN of nothing.

    Raises
    ------
    InputError
        Counts or a coverage that are none.
    """
    check_covers(covers)
    check_counts(hits, of)
    if of == 0:
        return Interval(value=math.nan, low=0.0, high=1.0)
    z = NormalDist().inv_cdf(0.5 + covers / 2)
    part, square = hits / of, z * z / of
    middle = (part + square / 2) / (1 + square)
    half = z / (1 + square) * math.sqrt(part * (1 - part) / of + square / (4 * of))
    low, high = max(0.0, middle - half), min(1.0, middle + half)
    return Interval(value=part, low=0.0 if hits == 0 else low, high=1.0 if hits == of else high)


def share_difference(one: tuple[int, int], other: tuple[int, int], *, covers: float = COVERS) -> Interval:
    """By how much one share is above another.

    Newcombe's hybrid score interval (1998, *Statistics in Medicine* 17:873, method 10).

    Parameters
    ----------
    one, other : pairs of int
        Hits and of how many.
    covers : float
        From 0.5 to 0.999.

    Returns
    -------
    Interval
        Within −1 and 1; its value is NaN where one is of nothing.

    Raises
    ------
    InputError
        Counts or a coverage that are none.
    """
    a, b = share(*one, covers=covers), share(*other, covers=covers)
    if one[1] == 0 or other[1] == 0:
        return Interval(value=math.nan, low=-1.0, high=1.0)
    between = a.value - b.value
    down = math.hypot(a.value - _end(a.low), _end(b.high) - b.value)
    up = math.hypot(_end(a.high) - a.value, b.value - _end(b.low))
    return Interval(value=between, low=between - down, high=between + up)


def spread(values: Sequence[float], *, covers: float = COVERS) -> Interval:
    """The standard deviation of values, such as strengths of a lot's reeds, kPa.

    By the chi-square distribution, as if they were normal; its quantiles by Wilson & Hilferty 1931
    (*PNAS* 17:684).

    Parameters
    ----------
    values : sequence of float
        Any unit; finite.
    covers : float
        From 0.5 to 0.999.

    Returns
    -------
    Interval
        In their unit; without ends for fewer than three values, NaN for fewer than two.

    Raises
    ------
    InputError
        A value or a coverage that is none.
    """
    check_covers(covers)
    for value in values:
        if not is_finite(value):
            raise InputError(field="value of a lot", given=said(value), allowed="a finite number is needed")
    free = len(values) - 1
    if free < 1:
        return Interval(value=math.nan, low=None, high=None)
    mean = math.fsum(values) / len(values)
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / free)
    if free < 2:
        return Interval(value=sd, low=None, high=None)
    tail = (1 - covers) / 2
    return Interval(
        value=sd,
        low=sd * math.sqrt(free / _chi_square(1 - tail, free)),
        high=sd * math.sqrt(free / _chi_square(tail, free)),
    )


def _chi_square(chance: float, free: int) -> float:
    """Quantile: exact for two degrees of freedom, else Wilson & Hilferty 1931."""
    if free == 2:
        return -2.0 * math.log1p(-chance)
    z = NormalDist().inv_cdf(chance)
    return float(free * (1 - 2 / (9 * free) + z * math.sqrt(2 / (9 * free))) ** 3)


def _end(value: float | None) -> float:
    return math.nan if value is None else value


def check_covers(covers: float) -> None:
    """An error where an interval is to hold what it is for impossibly often."""
    if not is_finite(covers) or not 0.5 <= covers <= 0.999:
        near = f"{covers / 100:g}" if is_finite(covers) and 50 <= covers <= 99.9 else "0.9"
        raise InputError(
            field="coverage of an interval", given=said(covers), allowed="from 0.5 to 0.999", nearest=near
        )


def check_counts(hits: int, of: int) -> None:
    """An error where there are more than there are, or fewer than none."""
    for field, value in (("reeds", of), ("reeds counted", hits)):
        if not is_finite(value) or value % 1 or value < 0:
            near = str(max(0, int(value))) if is_finite(value) else None
            raise InputError(field=field, given=said(value), allowed="0 or a whole number", nearest=near)
    if hits > of:
        raise InputError(
            field="reeds counted", given=f"{hits} of {of}", allowed="no more than there are", nearest=f"{of}"
        )
