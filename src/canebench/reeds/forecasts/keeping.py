"""Keep a reed, hold it, or set it aside: by the minutes that each is expected to cost, with the reason.

A reed is wanted whose strength, once settled, lies in the player's range. To keep costs the minutes that are
left to play it in, and a new one beside with the chance that it fails; to set it aside costs a new one now;
to hold costs a session, and then the cheaper of the two is known a little better. Never judged from one
reading. Sizes are estimates of ours. Guarded by `tests/practice/test_breaking_in.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.uncertain import number
from canebench.reeds.forecasts.forecast import LEAST_READ
from canebench.reeds.forecasts.playing import SaidAs

if TYPE_CHECKING:
    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.settled import SettledRule

ONSET_INCHES: Final = SaidAs()
#: To begin a new reed costs so much beside its playing in, min: seat, hemp, tape, a take or two.
FITTING_MIN: Final = 30.0
#: A reed that is not settled within what is foretold takes so many minutes more.
_LONG_MIN: Final = 800.0
#: Chances nearer to the edge than this count as this: no reed is certain.
_EDGE: Final = 0.02
#: Too little is known of where it settles: its 80 % interval is so many times as wide as what is wanted.
_VAGUE: Final = 3.0
#: A reed that suits no likelier than this is not kept for that player, though another may be no likelier to.
_HOPELESS: Final = 0.1


class Keeping(StrEnum):
    """What to do with a reed."""

    KEEP = "keep"
    HOLD = "hold"
    SET_ASIDE = "set aside"


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthRange:
    """Onset pressures that suit a player, kPa: from the least to the most; the ceiling is never passed."""

    low_kpa: float
    high_kpa: float

    def __post_init__(self) -> None:
        if not 0.0 < self.low_kpa < self.high_kpa < float("inf"):
            raise InputError(
                field="range of strength",
                given=f"{self.low_kpa:g} to {self.high_kpa:g} kPa",
                allowed="from a number above 0 to a larger one",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewReed:
    """What a new reed of the box is worth: its chance to suit once settled, and minutes to play it in."""

    chance: float
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepingAdvice:
    """What to do with a reed, and why.

    Attributes
    ----------
    what : Keeping
        Keep, hold or set aside.
    reason : str
        One sentence.
    chance : float
        That it suits once it has settled.
    cost_min : mapping of Keeping to float
        Minutes that each is expected to cost, until a reed that suits has settled.
    """

    what: Keeping
    reason: str
    chance: float
    cost_min: dict[Keeping, float]


def new_reed(forecast: ReedForecast, wanted: StrengthRange) -> NewReed:
    """What a new reed is worth, from the forecast of one that was never read nor played.

    Parameters
    ----------
    forecast : ReedForecast
        Of an empty `ReedHistory` with the lot, cut and chanter of the box.
    wanted : StrengthRange
        What the player wants.

    Returns
    -------
    NewReed
        For `advise`.
    """
    middle = forecast.settling.middle_min
    return NewReed(
        chance=_kept_off_edges(forecast.in_range("strength", wanted.low_kpa, wanted.high_kpa)),
        minutes=_LONG_MIN if middle is None else max(middle, 1.0),
    )


def advise(
    forecast: ReedForecast,
    wanted: StrengthRange,
    *,
    new: NewReed,
    rule: SettledRule,
    said: SaidAs = ONSET_INCHES,
) -> KeepingAdvice:
    """Keep it, hold it or set it aside.

    Parameters
    ----------
    forecast : ReedForecast
        Of the reed.
    wanted : StrengthRange
        Where its onset pressure should settle.
    new : NewReed
        What there is in its stead: `new_reed`.
    rule : SettledRule
        For the length of a session.
    said : SaidAs
        In what the reason tells pressures.

    Returns
    -------
    KeepingAdvice
        Hold, from fewer than two readings, whatever they say.
    """
    chance = _kept_off_edges(forecast.in_range("strength", wanted.low_kpa, wanted.high_kpa))
    left = 0.0 if forecast.settling.settled else forecast.settling.middle_min
    # Whether it suits is known once it was played at least once more.
    left = max(rule.session_min, _LONG_MIN if left is None else left)
    another = (FITTING_MIN + new.minutes) / _kept_off_edges(new.chance)
    keep, aside = left + (1.0 - chance) * another, another
    # After a session it is known better by what one more reading tells of what it settles at.
    tells = _tells(forecast)
    known = chance * min(left, aside) + (1.0 - chance) * min(left + another, aside)
    hold = rule.session_min + (1.0 - tells) * min(keep, aside) + tells * known
    costs = {Keeping.KEEP: keep, Keeping.HOLD: hold, Keeping.SET_ASIDE: aside}
    what = min(costs, key=lambda one: costs[one])
    if chance < _HOPELESS:
        what = Keeping.SET_ASIDE
    elif what is Keeping.KEEP and _is_vague(forecast, wanted):
        what = Keeping.HOLD
    if forecast.readings < LEAST_READ:
        what = Keeping.HOLD
    return KeepingAdvice(
        what=what, reason=_reason(what, forecast, wanted, chance, costs, said), chance=chance, cost_min=costs
    )


def _tells(forecast: ReedForecast) -> float:
    """By what share one more reading of strength narrows what is believed of it: 0 to 1."""
    now, then = forecast.now["strength"].sd, forecast.settled["strength"].sd
    read = 0.2
    gained = now**2 / (now**2 + read**2)
    return gained * min(1.0, (now / max(then, 1e-9)) ** 2)


def _is_vague(forecast: ReedForecast, wanted: StrengthRange) -> bool:
    settled = forecast.settled["strength"]
    return settled.high_80 - settled.low_80 > _VAGUE * (wanted.high_kpa - wanted.low_kpa)


def _minutes(cost_min: float) -> str:
    return f"more than {_LONG_MIN:g}" if cost_min > _LONG_MIN else f"some {number(cost_min, 0)}"


def _kept_off_edges(chance: float) -> float:
    return min(1.0 - _EDGE, max(_EDGE, chance))


def _reason(
    what: Keeping,
    forecast: ReedForecast,
    wanted: StrengthRange,
    chance: float,
    costs: dict[Keeping, float],
    said: SaidAs,
) -> str:
    settled = forecast.settled["strength"]
    low, high, from_in, to_in = (
        said(kpa) for kpa in (settled.low_80, settled.high_80, wanted.low_kpa, wanted.high_kpa)
    )
    where = f"it should settle between {low} and {high} {said.unit}, of {from_in} to {to_in} wanted"
    if forecast.readings < LEAST_READ:
        count = "no reading" if forecast.readings == 0 else "one reading"
        return f"Hold it: from {count} nothing is judged; so far {where}."
    percent = number(100.0 * chance, 0)
    if what is Keeping.HOLD and _is_vague(forecast, wanted):
        return f"Hold it: too little is known of it to judge; so far {where}."
    kept, aside = (_minutes(costs[one]) for one in (Keeping.KEEP, Keeping.SET_ASIDE))
    if what is Keeping.KEEP:
        return f"Keep it: {where}, {percent} % sure; {kept} min of playing, {aside} for another."
    if what is Keeping.SET_ASIDE:
        side = "strong" if settled.median > wanted.high_kpa else "weak"
        dearer = costs[Keeping.KEEP] > costs[Keeping.SET_ASIDE]
        other = f"costs {aside} min, this one {kept}" if dearer else "of its kind is little surer"
        sure = f"{percent} % sure to suit; another reed {other}"
        return f"Set it aside: too {side} once settled, for {where}, {sure}."
    return f"Hold it and read it once more: {where}, {percent} % sure, and one more reading costs a session."
