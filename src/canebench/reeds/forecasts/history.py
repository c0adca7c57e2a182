"""What is known of a reed's life so far: playing, readings, what was done to it; each told plainly.

Guarded by `tests/practice/test_breaking_in.py` and `tests/invariants/test_forecasts.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.errors import InputError

if TYPE_CHECKING:
    from datetime import datetime

#: What is forecast: onset pressure, kPa; low A and the tilt of the beam, cents.
Quantity = Literal["strength", "low_a", "tilt"]
QUANTITIES: Final[tuple[Quantity, ...]] = ("strength", "low_a", "tilt")
#: By mouth against a known strength: words of the ledger, and shorter ones. Where the reed then lies above
#: what it was held against, kPa: a quarter of a kPa (an inch of water) is felt. Estimates of ours.
MOUTH_STEPS_KPA: Final[dict[str, tuple[float, float]]] = {
    "weaker": (-math.inf, -0.25),
    "easier": (-math.inf, -0.25),
    "same": (-0.25, 0.25),
    "stronger": (0.25, math.inf),
    "a little stronger": (0.25, 1.0),
    "much stronger": (1.0, math.inf),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedSpell:
    """A spell of playing: when it began, and how long, min > 0."""

    at: datetime
    minutes: float

    def __post_init__(self) -> None:
        _check_finite("minutes played", self.minutes)
        if self.minutes <= 0.0:
            raise InputError(
                field="minutes played",
                given=f"{self.minutes:g} min",
                allowed="a spell is longer than nothing",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedReading:
    """A reed as it was read at one time; None for what was not read or is not known.

    Spells that began before `at` count as played before it.

    Attributes
    ----------
    at : datetime
        When.
    strength_kpa, strength_sd_kpa : number or None
        Onset pressure and how well the gauge was read; None for that counts as 0.12 kPa.
    low_a_cents, low_a_sd_cents : number or None
        Low A above a reference that is the same for every reading of every reed handed in, not the drones.
    tilt_cents, tilt_sd_cents : number or None
        How much wider the octave is than its target: `fitting/balance`.
    warm_min : number or None
        Minutes that it had been blown on that day.
    room_degc, room_rh : number or None
        The room, °C and per cent.
    """

    at: datetime
    strength_kpa: float | None = None
    strength_sd_kpa: float | None = None
    low_a_cents: float | None = None
    low_a_sd_cents: float | None = None
    tilt_cents: float | None = None
    tilt_sd_cents: float | None = None
    warm_min: float | None = None
    room_degc: float | None = None
    room_rh: float | None = None

    def __post_init__(self) -> None:
        for field in self.__slots__:
            value = getattr(self, field)
            if field != "at" and value is not None:
                _check_finite(field, value)
                if (field.endswith(("_kpa", "_min")) or "_sd_" in field) and value < 0.0:
                    raise InputError(field=field, given=f"{value:g}", allowed="it is not below 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class MouthReading:
    """How strong a reed felt: a key of `MOUTH_STEPS_KPA`, against an onset pressure known so well, kPa."""

    at: datetime
    words: str
    than_kpa: float
    than_sd_kpa: float = 0.0
    warm_min: float | None = None
    room_degc: float | None = None
    room_rh: float | None = None

    def __post_init__(self) -> None:
        if self.words not in MOUTH_STEPS_KPA:
            raise InputError(
                field="strength felt", given=repr(self.words), allowed=f"one of {', '.join(MOUTH_STEPS_KPA)}"
            )
        _check_finite("strength held against", self.than_kpa)
        _check_finite("its uncertainty", self.than_sd_kpa)


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """What was done to a reed, and when: a pinch, or set anew (seat, tape, hemp, another chanter)."""

    at: datetime
    what: Literal["pinch", "set"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedHistory:
    """A reed's life so far; tuples in any order.

    `lot`, `cut` and `chanter` are names, alike for reeds that share them; None for what is not known, which
    it shares with no other.
    """

    number: str
    lot: str | None = None
    cut: str | None = None
    chanter: str | None = None
    played: tuple[PlayedSpell, ...] = ()
    readings: tuple[ReedReading, ...] = ()
    by_mouth: tuple[MouthReading, ...] = ()
    handled: tuple[Handling, ...] = ()

    @property
    def pinches(self) -> int:
        """In its whole life."""
        return sum(one.what == "pinch" for one in self.handled)

    @property
    def read(self) -> int:
        """At how many times its strength or pitch was read, by gauge, ear or mouth."""
        told = {
            one.at for one in self.readings if any(value_of(one, name) is not None for name in QUANTITIES)
        }
        return len(told | {one.at for one in self.by_mouth})

    def minutes_before(self, at: datetime) -> float:
        """Minutes played in spells that began before then."""
        return math.fsum(one.minutes for one in self.played if one.at < at)


def value_of(reading: ReedReading, quantity: Quantity) -> tuple[float, float | None] | None:
    """What a reading tells of a quantity.

    Parameters
    ----------
    reading : ReedReading
        The reading.
    quantity : Quantity
        Of what.

    Returns
    -------
    (float, float or None) or None
        The value, kPa or cents, and its standard uncertainty if that was told; None where it was not read.
    """
    value, sd = {
        "strength": (reading.strength_kpa, reading.strength_sd_kpa),
        "low_a": (reading.low_a_cents, reading.low_a_sd_cents),
        "tilt": (reading.tilt_cents, reading.tilt_sd_cents),
    }[quantity]
    return None if value is None else (value, sd)


def _check_finite(field: str, value: float) -> None:
    if not math.isfinite(value):
        raise InputError(field=field.replace("_", " "), given=f"{value}", allowed="a finite number is needed")
