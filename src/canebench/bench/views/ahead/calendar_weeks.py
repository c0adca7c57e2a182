"""A plan of breaking in by weeks, Monday to Sunday; a week as the rows of a sheet.

Guarded by `tests/web/test_calendar.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError

if TYPE_CHECKING:
    from canebench.bench.views.ahead.calendar import Calendar
    from canebench.reeds.breaking_in.planned import BreakInSession

_DAYS: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedDay:
    """A day, and each player's sessions on it, in their order."""

    day: date
    players: tuple[tuple[str, tuple[BreakInSession, ...]], ...]

    @property
    def said(self) -> str:
        """As a column is headed."""
        return f"{self.day:%a} {self.day.day} {self.day:%b}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedWeek:
    """A reed in one week: whose mouth, and the minutes of each day, None for none."""

    reed: str
    player: str
    minutes: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedWeek:
    """Seven days, from a Monday on."""

    days: tuple[PlannedDay, ...]

    @property
    def first(self) -> date:
        """Its Monday."""
        return self.days[0].day

    @property
    def said(self) -> str:
        """From when to when, in words."""
        last = self.days[-1].day
        same = "" if self.first.year == last.year else f" {self.first.year}"
        return f"{self.first.day} {self.first:%B}{same} to {last.day} {last:%B} {last.year}"

    @property
    def sessions(self) -> tuple[BreakInSession, ...]:
        """All of them."""
        return tuple(one for day in self.days for _, own in day.players for one in own)

    @property
    def rows(self) -> tuple[ReedWeek, ...]:
        """A row for each reed that is played in it, by number; a reed rests until the next day."""
        by_reed: dict[str, list[BreakInSession]] = {}
        for one in self.sessions:
            by_reed.setdefault(one.reed, []).append(one)
        found = []
        for reed in sorted(by_reed, key=lambda number: (len(number), number)):
            on_day = {one.starts.date(): one.minutes for one in by_reed[reed]}
            minutes = tuple(on_day.get(day.day) for day in self.days)
            found.append(ReedWeek(reed=reed, player=by_reed[reed][0].player, minutes=minutes))
        return tuple(found)


def weeks_of(found: Calendar) -> tuple[PlannedWeek, ...]:
    """The weeks from the first session to the last; none where there is no session."""
    if not found.days:
        return ()
    monday, last = _monday(min(found.days)), max(found.days)
    weeks = []
    while monday <= last:
        days = (monday + timedelta(days=place) for place in range(_DAYS))
        weeks.append(PlannedWeek(days=tuple(_day(found, day) for day in days)))
        monday += timedelta(days=_DAYS)
    return tuple(weeks)


def week_at(weeks: tuple[PlannedWeek, ...], day: date | None) -> int:
    """The place of the week that holds a day; the first where none is told.

    Raises
    ------
    InputError
        There is no session at all, or none in that week or about it.
    """
    if not weeks:
        raise InputError(
            field="week", given="a plan without a session", allowed="a sheet is of a week that has sessions"
        )
    if day is None:
        return 0
    for place, week in enumerate(weeks):
        if week.first == _monday(day):
            return place
    near = weeks[0] if day < weeks[0].first else weeks[-1]
    raise InputError(
        field="week",
        given=day.isoformat(),
        allowed=f"the plan's weeks begin from {weeks[0].first.isoformat()} to {weeks[-1].first.isoformat()}",
        nearest=near.first.isoformat(),
    )


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _day(found: Calendar, day: date) -> PlannedDay:
    own = sorted(found.days.get(day, ()), key=lambda one: (one.player, one.starts))
    return PlannedDay(
        day=day,
        players=tuple((name, tuple(those)) for name, those in groupby(own, key=lambda one: one.player)),
    )
