"""How one lot turned out, how two compare, and what so few reeds can tell: in figures and in words.

Guarded by `tests/practice/test_lot_words.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, said
from canebench.reeds.lots.lives import ReedLife, life_curve, median_difference
from canebench.reeds.lots.shares import COVERS, Interval, share, share_difference, spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.reeds.lots.lives import LifeCurve

#: From so many reeds on a lot is spoken of without a warning. Estimate: the 90 % interval of a half is then
#: narrower than 0.35.
ENOUGH: Final = 20
#: Below this it says little: the interval of a half is wider than a half.
_LITTLE: Final = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class LotReed:
    """What became of one reed of a lot.

    Attributes
    ----------
    number : str
        Its number.
    settled : bool or None
        Whether it settled in range; None while that is open.
    strength_kpa : float or None
        Its onset as new, for the spread of a lot.
    break_in_min : float or None
        Minutes until it had settled.
    lived_h : float or None
        Hours played so far, or until it ended.
    worn_out : bool
        Whether it ended so; other ends count as still playing then.

    Raises
    ------
    InputError
        A quantity that is none, by its field.
    """

    number: str
    settled: bool | None = None
    strength_kpa: float | None = None
    break_in_min: float | None = None
    lived_h: float | None = None
    worn_out: bool = False

    def __post_init__(self) -> None:
        for name, value in (
            ("strength", self.strength_kpa),
            ("minutes of breaking in", self.break_in_min),
            ("hours played", self.lived_h),
        ):
            if value is not None and (not is_finite(value) or value <= 0.0):
                raise InputError(
                    field=f"{name} of reed {self.number}",
                    given=said(value),
                    allowed="more than 0, or nothing where it is not known",
                    nearest=f"{-value:g}" if is_finite(value) and value < 0 else "left empty",
                )
        if self.break_in_min is not None and self.settled is False:
            raise InputError(
                field=f"minutes of breaking in of reed {self.number}",
                given=f"{self.break_in_min:g} min, not settled",
                allowed="they end with its being settled",
                nearest="left empty",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class LotOutcome:
    """How a lot turned out.

    Attributes
    ----------
    name : str
        Of the lot.
    reeds, known, settled : int
        All, those of which it is known whether they settled, and those that did.
    settling : Interval
        Their share: the yield.
    life : LifeCurve
        Of those that were played, hours.
    strength_sd_kpa : Interval
        How unlike they are as new.
    break_in_min : Interval
        Median minutes until settled, of those that settled; ends by order statistics.
    cost : Interval or None
        Money for one settled reed; an end None where it has no bound. None without a price.
    said : str
        What so many reeds can tell.
    """

    name: str
    reeds: int
    known: int
    settled: int
    settling: Interval
    life: LifeCurve
    strength_sd_kpa: Interval
    break_in_min: Interval
    cost: Interval | None
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotComparison:
    """One lot beside another: `settling` and `life_h` are by how much the first is above; `said` in words."""

    settling: Interval
    life_h: Interval
    said: str


def lot_outcome(
    name: str, reeds: Sequence[LotReed], *, price_each: float | None = None, covers: float = COVERS
) -> LotOutcome:
    """How a lot turned out so far.

    Parameters
    ----------
    name : str
        Of the lot.
    reeds : sequence of LotReed
        All of it, each once.
    price_each : float or None
        What one reed cost, in any money.
    covers : float
        From 0.5 to 0.999.

    Returns
    -------
    LotOutcome
        With intervals; ends None where so few reeds give none.

    Raises
    ------
    InputError
        A reed twice, a price or a coverage that is none.
    """
    _once(reeds)
    if price_each is not None and (not is_finite(price_each) or price_each < 0.0):
        near = f"{-price_each:g}" if is_finite(price_each) else None
        raise InputError(field="price of a reed", given=said(price_each), allowed="0 or more", nearest=near)
    known = [one for one in reeds if one.settled is not None]
    settled = sum(one.settled is True for one in known)
    part = share(settled, len(known), covers=covers)
    return LotOutcome(
        name=name,
        reeds=len(reeds),
        known=len(known),
        settled=settled,
        settling=part,
        life=life_curve(_lives(reeds), covers=covers),
        strength_sd_kpa=spread([v for one in reeds if (v := one.strength_kpa) is not None], covers=covers),
        break_in_min=median([v for one in reeds if (v := one.break_in_min) is not None], covers=covers),
        cost=None if price_each is None else _cost(price_each, part),
        said=_said(name, len(known), settled, part, covers),
    )


def lot_comparison(
    one: tuple[str, Sequence[LotReed]], other: tuple[str, Sequence[LotReed]], *, covers: float = COVERS
) -> LotComparison:
    """One lot beside another.

    Parameters
    ----------
    one, other : pairs of a name and LotReeds
        The two; "more settled reeds" is said of one only where both have nine reeds or more
        and the interval of the difference leaves 0 out.
    covers : float
        From 0.5 to 0.999.

    Returns
    -------
    LotComparison
        First minus second.

    Raises
    ------
    InputError
        A reed twice in a lot, or a coverage that is none.
    """
    a, b = (lot_outcome(name, reeds, covers=covers) for name, reeds in (one, other))
    settling = share_difference((a.settled, a.known), (b.settled, b.known), covers=covers)
    life = median_difference(_lives(one[1]), _lives(other[1]), covers=covers)
    return LotComparison(settling=settling, life_h=life, said=_beside(a, b, settling, covers))


def median(values: Sequence[float], *, covers: float = COVERS) -> Interval:
    """The median with the widest order statistics that a binomial count of half allows; free of any form.

    Parameters
    ----------
    values : sequence of float
        In any order and unit.
    covers : float
        At least so often it holds the true one.

    Returns
    -------
    Interval
        Ends None for too few values, such as four at 90 %; NaN for none.
    """
    if not values:
        return Interval(value=math.nan, low=None, high=None)
    ordered = sorted(values)
    count = len(ordered)
    value = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    tail, place = 0.0, -1
    for below in range(count // 2):
        tail += math.comb(count, below) / 2**count
        if tail > (1 - covers) / 2:
            break
        place = below
    if place < 0:
        return Interval(value=value, low=None, high=None)
    return Interval(value=value, low=ordered[place], high=ordered[count - 1 - place])


def _once(reeds: Sequence[LotReed]) -> None:
    seen: set[str] = set()
    for one in reeds:
        if one.number in seen:
            raise InputError(
                field="reed",
                given=f"{one.number} twice",
                allowed="each number stands for one reed of a lot",
                nearest=f"{one.number}-2 for the other",
            )
        seen.add(one.number)


def _lives(reeds: Sequence[LotReed]) -> list[ReedLife]:
    return [
        ReedLife(reed=one.number, lived=one.lived_h, ended=one.worn_out)
        for one in reeds
        if one.lived_h is not None
    ]


def _cost(price: float, part: Interval) -> Interval:
    """Price over yield; dear where the yield is low."""
    value = math.nan if math.isnan(part.value) else (price / part.value if part.value else math.inf)
    return Interval(
        value=value,
        low=price / part.high if part.high else None,
        high=price / part.low if part.low else None,
    )


def _said(name: str, known: int, settled: int, part: Interval, covers: float) -> str:
    if known == 0:
        return f"Of lot {name} nothing is known yet: no reed of it has been seen through."
    first = (
        f"{settled} of {known} {'reed' if known == 1 else 'reeds'} of lot {name} settled in range: "
        f"between {part.low:.0%} and {part.high:.0%} of such a lot, {covers:.0%} sure."
    )
    if known < _LITTLE:
        return f"{first} A lot of {known} says little: the next may be quite another."
    return first if known >= ENOUGH else f"{first} From {known} reeds that is a rough guess."


def _beside(a: LotOutcome, b: LotOutcome, between: Interval, covers: float) -> str:
    if a.known == 0 or b.known == 0:
        return "They cannot be compared: of one of them no reed has been seen through."
    low, high = between.low or 0.0, between.high or 0.0
    span = f"{low:+.0%} to {high:+.0%}".replace("-", "−")
    few = min(a.known, b.known)
    little = f" From a lot of {few} that says little." if few < _LITTLE else ""
    # At so few the interval is too narrow: three of three beside one of three would count as known.
    if not little and (low > 0.0 or high < 0.0):
        better, worse = (a, b) if low > 0.0 else (b, a)
        told = f"Lot {better.name} gave more settled reeds than lot {worse.name}"
        return f"{told} ({span}, {covers:.0%} sure)."
    return f"Which of the two gives more settled reeds cannot be told: {span}.{little}"
