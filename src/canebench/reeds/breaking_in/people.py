"""Who has how many minutes on which day, and which reeds are to be broken in; both check themselves.

Guarded by `tests/faults/test_bad_plans.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import check_zone, zone_named
from canebench.base.errors import InputError
from canebench.base.parsing import check_name
from canebench.base.sizes import MINUS, Range, check_count

if TYPE_CHECKING:
    from canebench.reeds.breaking_in.chances import StillToPlay

#: From Monday on.
_WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_DAY_MIN: Final = Range(
    low=0.0, high=240.0, usual=30.0, unit="min", slips=(MINUS, (1 / 60, "if that was seconds"))
)
_MOST_COUNT: Final = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerTime:
    """What a player has for breaking in.

    Attributes
    ----------
    name : str
        Of the player.
    minutes : tuple of 7 floats
        From Monday to Sunday, 0 to 240 min of blowing each.
    zone : str
        Name of the time zone, as in "Europe/Dublin": a day of 23 or 25 hours is one there.
    starts : time
        When the player begins, on the clock there.
    ceiling_min : float or None
        The most a player may be asked for on a day, whatever comes; None for no more than `minutes`.
    away : frozenset of date
        Days without.
    sessions_a_day : int
        The most reeds on one day, 1 to 20. Estimate.
    wanted : int
        How many settled reeds the player needs; 0 for as many as it gives.
    reeds : int or None
        The most that the player breaks in over the plan; None for as many as `wanted` asks for.

    Raises
    ------
    InputError
        Outside these, with the field.
    """

    name: str
    minutes: tuple[float, ...]
    zone: str
    starts: time = time(18, 0)
    ceiling_min: float | None = None
    away: frozenset[date] = frozenset()
    sessions_a_day: int = 3
    wanted: int = 0
    reeds: int | None = None

    def __post_init__(self) -> None:
        check_name("player", self.name)
        if len(self.minutes) != len(_WEEKDAYS):
            raise InputError(
                field=f"minutes of {self.name}",
                given=f"{len(self.minutes)} days",
                allowed="seven are needed, from Monday to Sunday; 0 for a day without",
            )
        for day, value in zip(_WEEKDAYS, self.minutes, strict=True):
            _DAY_MIN.check(f"minutes of {self.name} on {day}", value)
        if self.ceiling_min is not None:
            _DAY_MIN.check(f"most minutes of {self.name} a day", self.ceiling_min)
            if self.ceiling_min < max(self.minutes):
                raise InputError(
                    field=f"minutes of {self.name}",
                    given=f"{max(self.minutes):g} min",
                    allowed=f"no day above the most for this player, {self.ceiling_min:g} min",
                    nearest=f"{self.ceiling_min:g} min",
                )
        check_count("sessions a day", self.sessions_a_day, 1, 20)
        check_count("wanted reeds", self.wanted, 0, _MOST_COUNT)
        if self.reeds is not None:
            check_count("most reeds of a player", self.reeds, self.wanted, _MOST_COUNT)
        if self.starts.tzinfo is not None:
            raise InputError(
                field=f"start of {self.name}",
                given=self.starts.isoformat(),
                allowed="the time on the clock alone: its zone is the player's",
                nearest=self.starts.replace(tzinfo=None).isoformat("minutes"),
            )
        zone_named(self.zone)


@dataclass(frozen=True, slots=True, kw_only=True)
class MouthBefore:
    """A mouth that a reed was in, and until when it rests for every other: `until` has its zone."""

    player: str
    until: datetime

    def __post_init__(self) -> None:
        check_name("mouth", self.player)
        check_zone("end of the rest", self.until)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedToBreakIn:
    """A reed that is to settle.

    Attributes
    ----------
    number : str
        As it stands on the binding.
    still : StillToPlay
        The minutes it still needs, as a forecast has them.
    had : int
        Sessions it has had: its place on the ladder.
    player : str or None
        Whose it is; None where anyone may have it.
    mouths : tuple of MouthBefore
        Whose mouths it was in.
    played_until : datetime or None
        When its last session ended, with its zone.

    Raises
    ------
    InputError
        Outside these, with the field.
    """

    number: str
    still: StillToPlay
    had: int = 0
    player: str | None = None
    mouths: tuple[MouthBefore, ...] = ()
    played_until: datetime | None = None

    def __post_init__(self) -> None:
        check_name("reed", self.number)
        check_count(f"sessions of reed {self.number}", self.had, 0, 10_000)
        if self.player is not None:
            check_name(f"player of reed {self.number}", self.player)
        if self.played_until is not None:
            check_zone(f"last session of reed {self.number}", self.played_until)

    def rests_until(self, player: str) -> datetime | None:
        """Until when it rests from the mouths of others before this player's; None for no rest."""
        return max((one.until for one in self.mouths if one.player != player), default=None)
