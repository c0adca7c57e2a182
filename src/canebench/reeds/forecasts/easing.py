"""Whether a pinch is advised now, and what it should do: from the reed's own pinches and its lot's.

A pinch is advised only while the reed is above what its player is at ease with, and would stay there:
strength falls by itself while a reed is broken in. How many are left in a life, and that the fourth is
refused, is `reeds/eases`. Guarded by `tests/practice/test_breaking_in.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.uncertain import number
from canebench.reeds import eases
from canebench.reeds.forecasts.forecast import LEAST_READ
from canebench.reeds.forecasts.keeping import ONSET_INCHES

if TYPE_CHECKING:
    from datetime import datetime

    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.history import ReedHistory
    from canebench.reeds.forecasts.keeping import StrengthRange
    from canebench.reeds.forecasts.mixture import Foretold, Weighted
    from canebench.reeds.forecasts.playing import SaidAs

#: After a pinch a reed is played and rests so many days before it is judged (an estimate of ours).
WAIT_DAYS: Final = 3.0
#: That it stays above what is wanted has to be this likely; that a pinch makes it too weak, no likelier.
_STAYS, _TOO_WEAK = 0.5, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class EasingAdvice:
    """Whether to pinch a reed, and what that should do.

    Attributes
    ----------
    advised : bool
        Whether it is advised now.
    reason : str
        One sentence.
    left : int
        How many pinches may still be recommended in its life.
    wait_days : float
        Days until the last pinch can be judged; 0 where none is waited for.
    strength_kpa, settled_kpa : Foretold
        Onset after a pinch: now, and once settled.
    low_a_cents, tilt_cents : Foretold
        By how much a pinch moves low A, and the top hand against it: sharper is positive.
    """

    advised: bool
    reason: str
    left: int
    wait_days: float
    strength_kpa: Foretold
    settled_kpa: Foretold
    low_a_cents: Foretold
    tilt_cents: Foretold


def easing(
    history: ReedHistory,
    forecast: ReedForecast,
    wanted: StrengthRange,
    *,
    now: datetime,
    ceiling_kpa: float | None = None,
    insisted: bool = False,
    said: SaidAs = ONSET_INCHES,
) -> EasingAdvice:
    """Whether to pinch it now.

    Parameters
    ----------
    history, forecast : ReedHistory and ReedForecast
        The reed's.
    wanted : StrengthRange
        What the player is at ease with, by onset pressure.
    now : datetime
        As for the forecast.
    ceiling_kpa : number or None
        What the player must not blow past, as onset pressure.
    insisted : bool
        That it shall be told all the same, past the most in a life.
    said : SaidAs
        In what the reason tells pressures.

    Returns
    -------
    EasingAdvice
        With the effect, advised or not.

    Raises
    ------
    UnlessInsistedError
        The reed has had as many pinches as it bears, it is above what is wanted, and nobody insists.
    """
    settled = _pinched(forecast, -1)
    waits = _waits(history, now)
    advised, reason = _judged(forecast, wanted, settled, waits, ceiling_kpa, said)
    if advised:
        eases.check_pinch(history.pinches, insisted=insisted)
    return EasingAdvice(
        advised=advised,
        reason=reason,
        left=eases.left(history.pinches),
        wait_days=waits,
        strength_kpa=_pinched(forecast, 0),
        settled_kpa=settled,
        low_a_cents=forecast.one_pinch("low_a"),
        tilt_cents=forecast.one_pinch("tilt"),
    )


def _pinched(forecast: ReedForecast, place: int) -> Foretold:
    """Strength at a place of what is believed, after one more pinch."""
    return _weaker(forecast, place).foretold()


def _weaker(forecast: ReedForecast, place: int) -> Weighted:
    effect = forecast.one_pinch("strength")
    return forecast.believed["strength"][place].and_then(effect.mean, effect.sd)


def _waits(history: ReedHistory, now: datetime) -> float:
    pinched = [one.at for one in history.handled if one.what == "pinch" and one.at <= now]
    if not pinched:
        return 0.0
    return max(0.0, WAIT_DAYS - (now - max(pinched)).total_seconds() / 86_400.0)


def _judged(
    forecast: ReedForecast,
    wanted: StrengthRange,
    after: Foretold,
    waits: float,
    ceiling_kpa: float | None,
    said: SaidAs,
) -> tuple[bool, str]:
    """Whether, and why, the weightiest reason first."""
    most = wanted.high_kpa if ceiling_kpa is None else min(wanted.high_kpa, ceiling_kpa)
    above_now = 1.0 - forecast.believed["strength"][0].below(most)
    above_settled = 1.0 - forecast.believed["strength"][-1].below(most)
    weak = _weaker(forecast, -1).below(wanted.low_kpa)
    now_in, settled_in, after_in, most_in = (
        said(kpa)
        for kpa in (forecast.now["strength"].median, forecast.settled["strength"].median, after.median, most)
    )
    if forecast.readings < LEAST_READ:
        return False, "No pinch is advised before a reed was read twice."
    if above_now < _STAYS:
        return False, f"No pinch: at {now_in} {said.unit} it is not above the {most_in} wanted."
    if waits > 0.0:
        return False, f"No pinch yet: the last is judged in {number(waits, 1)} days, played and rested."
    if above_settled < _STAYS:
        return (
            False,
            f"No pinch: it should come down from {now_in} to {settled_in} {said.unit} by playing.",
        )
    if weak > _TOO_WEAK:
        return False, f"No pinch: once settled it would be too weak, at {after_in} {said.unit}."
    return True, (
        f"One light pinch: it stays at {settled_in} {said.unit} by playing alone, above the {most_in}"
        f" wanted, and should settle at {after_in} pinched."
    )
