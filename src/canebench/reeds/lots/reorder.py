"""How many reeds to order, and when, from what is needed and how lots turned out.

Guarded by `tests/published/test_binomial_table.py` and `tests/analytic/test_reorder.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, said
from canebench.reeds.lots.shares import COVERS, check_counts, share

if TYPE_CHECKING:
    from datetime import date

_MOST: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Reorder:
    """What to order.

    Attributes
    ----------
    reeds : int or None
        How many, at the yield as it was seen; None where more than 2000 would be needed.
    cautious : int or None
        The same at the low end of the yield's interval: what a small lot cannot rule out.
    chance : float
        That enough of `reeds` settle, if the yield is as seen.
    order_by : date or None
        The last day to order, so that they are settled when they are needed; None where no time was given.
    said : str
        In words.
    """

    reeds: int | None
    cautious: int | None
    chance: float
    order_by: date | None
    said: str


def chance_of_enough(needed: int, reeds: int, each: float) -> float:
    """The binomial chance that at least so many of so many settle.

    Parameters
    ----------
    needed, reeds : int >= 0
        How many are needed, and how many there are.
    each : float
        The chance of each, 0 to 1.

    Returns
    -------
    float
        1 where none is needed.
    """
    if needed <= 0:
        return 1.0
    if needed > reeds or each <= 0.0:
        return 0.0
    if each >= 1.0:
        return 1.0
    whole, yes, no = math.lgamma(reeds + 1), math.log(each), math.log1p(-each)
    return min(
        1.0,
        math.fsum(
            math.exp(
                whole
                - math.lgamma(count + 1)
                - math.lgamma(reeds - count + 1)
                + count * yes
                + (reeds - count) * no
            )
            for count in range(needed, reeds + 1)
        ),
    )


def fewest(needed: int, each: float, *, sure: float) -> int | None:
    """The fewest reeds of which at least the needed ones settle with a chance of `sure`.

    Parameters
    ----------
    needed : int >= 0
        Settled reeds.
    each : float
        The chance of each, 0 to 1.
    sure : float
        From 0.5 to 0.99.

    Returns
    -------
    int or None
        None for more than 2000.
    """
    if needed <= 0:
        return 0
    if each * _MOST < needed:
        return None
    low, high = needed - 1, _MOST
    if chance_of_enough(needed, high, each) < sure:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance_of_enough(needed, middle, each) >= sure else (middle, high)
    return high


def reorder(
    needed: int,
    *,
    in_stock: int,
    settled: int,
    of: int,
    sure: float,
    needed_on: date | None = None,
    days_ahead: int | None = None,
) -> Reorder:
    """What to order, from how a lot turned out.

    Parameters
    ----------
    needed, in_stock : int >= 0
        Settled reeds that will be needed, and that there are.
    settled, of : int
        Of reeds that were tried, how many settled in range.
    sure : float
        How sure it shall be that enough settle, 0.5 to 0.99.
    needed_on : date or None
        When.
    days_ahead : int or None
        From the order to a settled reed: the post's days and those of breaking in.

    Returns
    -------
    Reorder
        Nothing to order where there are enough.

    Raises
    ------
    InputError
        Counts or a chance that are none.
    """
    check_counts(settled, of)
    check_counts(0, needed)
    check_counts(0, in_stock)
    if not is_finite(sure) or not 0.5 <= sure <= 0.99:
        raise InputError(field="how sure", given=said(sure), allowed="from 0.5 to 0.99", nearest="0.8")
    lack = max(0, needed - in_stock)
    seen = share(settled, of, covers=COVERS)
    at = seen.value if of else math.nan
    reeds = fewest(lack, at, sure=sure) if of else None
    cautious = fewest(lack, seen.low or 0.0, sure=sure)
    order_by = None
    if needed_on is not None and days_ahead is not None and lack:
        check_counts(0, days_ahead)
        order_by = needed_on - timedelta(days=days_ahead)
    return Reorder(
        reeds=0 if lack == 0 else reeds,
        cautious=cautious,
        chance=chance_of_enough(lack, reeds, at) if reeds is not None else (1.0 if lack == 0 else 0.0),
        order_by=order_by,
        said=_said(lack, reeds, cautious, (settled, of), order_by),
    )


def _said(
    lack: int, reeds: int | None, cautious: int | None, tried: tuple[int, int], order_by: date | None
) -> str:
    if lack == 0:
        return "There are enough settled reeds: nothing to order."
    when = f" by {order_by.isoformat()}" if order_by is not None else ""
    if tried[1] == 0:
        return (
            f"{lack} settled reeds are lacking{when}; no lot has been seen through, "
            "so how many to order is not known."
        )
    many = "more than can be told" if reeds is None else f"{reeds} reeds"
    worst = f"more than {_MOST}" if cautious is None else f"{cautious}"
    return (
        f"Order {many}{when}: {lack} settled ones are lacking, and {tried[0]} of {tried[1]} "
        f"settled in range. From so many reeds the yield is not known better: it may take {worst}."
    )
