"""What is foretold of a reed, in words. Guarded by `tests/doors/test_forecast_command.py`."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.pressure import PressureUnit, from_kpa, pressure_in
from canebench.base.sentences import capitalized
from canebench.base.uncertain import number
from canebench.base.units import cents_to_hz
from canebench.bench.views.ahead.histories import REFERENCE_HZ
from canebench.reeds.forecasts.forecast import LEAST_READ

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.mixture import Foretold
    from canebench.reeds.forecasts.playing import OnsetShare
    from canebench.reeds.forecasts.reliability import LevelHeld
    from canebench.store.records import PlayerRecord

#: What is foretold, as it is told: of strength, what it plays at.
SAID_OF: Final[Mapping[Quantity, str]] = MappingProxyType(
    {"strength": "plays at", "low_a": "low A", "tilt": "tilt"}
)
#: How likely a reed has settled at best, and at worst.
_AT_BEST, _AT_WORST = 0.1, 0.9
#: This share of the most that a chance comes to is as good as all of it.
_NEARLY: Final = 0.95


def heading_of(what: Quantity) -> str:
    """What is foretold, as a sentence begins."""
    return capitalized(SAID_OF[what])


def plays_said(plays: Foretold, unit: PressureUnit) -> str:
    """Playing pressure with its 80 % interval."""
    digits = 1 if unit is PressureUnit.KPA else 0
    low, high = (number(from_kpa(kpa, unit), digits) for kpa in (plays.low_80, plays.high_80))
    return f"{pressure_in(plays.median, unit)} ({low} to {high})"


def cents_said(cents: Foretold) -> str:
    """With its 80 % interval."""
    low, high = (number(one, 0, signed=True) for one in (cents.low_80, cents.high_80))
    return f"{number(cents.median, 0, signed=True)} cents ({low} to {high})"


def hertz_said(cents: Foretold) -> str:
    """Low A, Hz, in a room of 20 °C, with its 80 % interval."""
    middle, low, high = (
        number(cents_to_hz(one, REFERENCE_HZ), 1) for one in (cents.median, cents.low_80, cents.high_80)
    )
    return f"{middle} Hz ({low} to {high})"


def days_said(days: float) -> str:
    """How many days."""
    return "1 day" if days == 1.0 else f"{number(days, 1 if days % 1.0 else 0)} days"


def settled_said(forecast: ReedForecast, sessions: int) -> str:
    """Whether it has settled, and how much playing is left."""
    settling = forecast.settling
    sure = f"{number(100.0 * settling.chance, 0)} % sure"
    if settling.settled:
        return f"It has settled, {sure}: strength and low A hold still over {sessions} sessions."
    if settling.middle_min is None:
        most = settling.most
        minutes = settling.after_min(_NEARLY * most) or 0.0
        return (
            f"It has not settled yet ({sure} that it has); some {number(minutes, 0)} minutes more make that "
            f"{number(100.0 * most, 0)} %, by what is known so far. A reading after each session tells more."
        )
    early, late = settling.after_min(_AT_BEST), settling.after_min(_AT_WORST)
    span = "" if early is None or early == settling.middle_min else f", {number(early, 0)} at best"
    span += f", {number(late, 0)} at worst" if late is not None else ", more than 800 at worst"
    read = "" if forecast.readings >= LEAST_READ else " From fewer than two readings that is not judged."
    if settling.middle_min == 0.0:
        return f"It may have settled ({sure}); read it after the next session.{read}"
    return (
        f"It has not settled yet: some {number(settling.middle_min, 0)} more minutes of playing{span}.{read}"
    )


def missing(life: ReedHistory, person: PlayerRecord | None) -> tuple[str, ...]:
    """What is not known, and what it would be good for."""
    found = []
    if person is None:
        found.append("Whose reed it is: then it is said whether it will suit.")
    elif person.blows_kpa is None:
        found.append(f"What {person.name} blows: then it is said whether it will suit.")
    if not any(one.strength_kpa is not None for one in life.readings) and not life.by_mouth:
        found.append("Its strength: one reading after a session tells most.")
    if not life.played:
        found.append("What it was played: minutes written down make the forecast its own.")
    return tuple(found)


def share_said(share: OnsetShare, *, apart: bool) -> str:
    """How onset and playing pressure are held together."""
    percent, sd = number(100.0 * share.mean, 0), number(100.0 * share.sd, 0)
    known = "by what is known of other reeds"
    if share.readings:
        many = f"{share.readings} readings" if share.readings > 1 else "one reading"
        known = f"by {many} of both of its own, and other reeds"
    told = f"Onset counts as {percent} ± {sd} % of playing pressure, {known}."
    return told + (
        " What it plays at is known by that share, so less surely than its onset." if apart else ""
    )


def held_between(one: LevelHeld) -> str:
    """Between which two shares of such readings fall inside, per cent."""
    low, high = (number(100.0 * (end or 0.0), 0) for end in (one.share.low, one.share.high))
    return f"{low} to {high} %"
