"""The days of a plan as each player has them, in true hours: a change of the clocks makes one of 23 or 25.

Guarded by `tests/invariants/test_break_in_days.py`.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import check_zone, zone_named
from canebench.base.errors import InputError

if TYPE_CHECKING:
    from canebench.reeds.breaking_in.people import PlayerTime

#: Between two reeds of one day, minutes: a sip of water, the next reed seated. Estimate.
PAUSE_MIN: Final = 5.0
_MOST_DAYS: Final = 250


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerDays:
    """A player's days in a plan.

    Attributes
    ----------
    player : str
        Whose.
    dates : tuple of date
        One after the other.
    minutes : tuple of float
        Of blowing on each, min; 0 where there is none.
    starts : tuple of datetime
        When the player begins on each, in UTC.
    after : tuple of int
        For each day the first one on which a reed that was played on it has rested; the number of days where
        there is none. From the end of the player's longest day of that kind to the begin of the other.
    most : int
        Sessions on one day.
    """

    player: str
    dates: tuple[date, ...]
    minutes: tuple[float, ...]
    starts: tuple[datetime, ...]
    after: tuple[int, ...]
    most: int

    def first_from(self, at: datetime) -> int:
        """The first day that begins at that time or later; the number of days for none."""
        return bisect_left(self.starts, at)

    def latest_before(self) -> tuple[int, ...]:
        """For each day the last one after which a reed has rested by then; -1 for none."""
        found, before = [], -1
        for day in range(len(self.dates)):
            while before + 1 < day and self.after[before + 1] <= day:
                before += 1
            found.append(before)
        return tuple(found)


def days_between(now: datetime, settled_by: date) -> tuple[date, ...]:
    """The days of a plan: from today to the eve of the date by which reeds are to be settled.

    Parameters
    ----------
    now : datetime
        With its zone.
    settled_by : date
        On this day they are settled; the last session lies before it.

    Returns
    -------
    tuple of date
        One at the least.

    Raises
    ------
    InputError
        The date is no later than today, or more than 250 days off.
    """
    check_zone("now", now)
    left = (settled_by - now.date()).days
    if not 1 <= left <= _MOST_DAYS:
        near = now.date() + timedelta(days=1 if left < 1 else _MOST_DAYS)
        raise InputError(
            field="date to be settled by",
            given=settled_by.isoformat(),
            allowed=f"from tomorrow to {_MOST_DAYS} days from now",
            nearest=near.isoformat(),
        )
    return tuple(now.date() + timedelta(days=day) for day in range(left))


def player_days(person: PlayerTime, dates: tuple[date, ...], *, now: datetime, rest_h: float) -> PlayerDays:
    """A player's days.

    Parameters
    ----------
    person : PlayerTime
        Whose.
    dates : tuple of date
        One after the other.
    now : datetime
        With its zone; a day that would begin before it has no minutes.
    rest_h : float
        How long a reed rests after a session, true hours.

    Returns
    -------
    PlayerDays
        Guarded by `tests/invariants/test_break_in_days.py`.
    """
    zone = zone_named(person.zone)
    starts = tuple(datetime.combine(one, person.starts, zone).astimezone(UTC) for one in dates)
    minutes = tuple(
        0.0 if one in person.away or at < now else float(person.minutes[one.weekday()])
        for one, at in zip(dates, starts, strict=True)
    )
    pauses = PAUSE_MIN * (person.sessions_a_day - 1)
    after = []
    for day, (at, length) in enumerate(zip(starts, minutes, strict=True)):
        rested = at + timedelta(minutes=length + pauses, hours=rest_h)
        after.append(max(day + 1, bisect_left(starts, rested)))
    return PlayerDays(
        player=person.name,
        dates=dates,
        minutes=minutes,
        starts=starts,
        after=tuple(after),
        most=person.sessions_a_day,
    )
