"""What is asked of a plan of breaking in, as it stands in the address: of the page, its sheets and its file.

Guarded by `tests/web/test_calendar.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final
from urllib.parse import urlencode

from canebench.base.parsing import count_from, number_from
from canebench.bench.views.ahead.calendar import USUAL_MIN, USUAL_STARTS, Wanted, day_from, starts_from
from canebench.reeds.breaking_in.ladder import Ladder, ladder_from

if TYPE_CHECKING:
    from starlette.datastructures import QueryParams

    from canebench.base.errors import InputError

#: How far ahead is looked unless told: long enough for a new reed with a quarter of an hour on most days.
_AHEAD: Final = timedelta(weeks=8)
_MOST_TEXT: Final = 200
#: What each field is called where it will not do, and the input that it stands in.
_FIELDS: Final = {
    "date to be settled by": "by",
    "settled reeds needed": "need",
    "reeds to break in": "reed",
    "minutes a day": "minutes",
    "time they begin": "starts",
    "ladder": "sessions",
    "rest after a session": "rest",
}


def field_of(error: InputError) -> str:
    """The input that an error is about; "" for none of them."""
    return "sessions" if error.field.endswith("of the ladder") else _FIELDS.get(error.field, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarQuery:
    """Each as typed, or as it is unless told; `reeds` are numbers with commas between."""

    by: str
    need: str
    minutes: str
    starts: str
    players: tuple[str, ...]
    reeds: str
    sessions: str
    rest: str

    def wanted(self, today: date, ladder: Ladder) -> Wanted:
        """Read it, with sessions as usual where none are told; what will not do is an `InputError`."""
        names = (one.strip() for one in self.reeds.split(","))
        return Wanted(
            by=day_from(self.by, "date to be settled by", nearest=(today + _AHEAD).isoformat()),
            need=count_from(self.need, "settled reeds needed") if self.need else None,
            minutes=number_from(self.minutes, "minutes a day"),
            starts=starts_from(self.starts, "time they begin"),
            players=self.players,
            reeds=tuple(one for one in names if one),
            ladder=ladder_from(self.sessions, self.rest, usual=ladder),
        )

    def address(self, path: str, **also: str) -> str:
        """Where the same is asked of another page."""
        told = [("by", self.by), ("need", self.need), ("minutes", self.minutes), ("starts", self.starts)]
        told += [("player", name) for name in self.players]
        told += [("reed", self.reeds), ("sessions", self.sessions), ("rest", self.rest), *also.items()]
        return f"{path}?{urlencode([(name, value) for name, value in told if value])}"


def calendar_query(given: QueryParams, today: date) -> CalendarQuery:
    """What the address says, else what is usual."""

    def text(name: str, usual: str) -> str:
        return given.get(name, "").strip()[:_MOST_TEXT] or usual

    return CalendarQuery(
        by=text("by", (today + _AHEAD).isoformat()),
        need=text("need", ""),
        minutes=text("minutes", f"{USUAL_MIN:g}"),
        starts=text("starts", f"{USUAL_STARTS:%H:%M}"),
        players=tuple(dict.fromkeys(one for one in given.getlist("player") if one.strip())),
        reeds=", ".join(one.strip() for one in given.getlist("reed") if one.strip())[: 10 * _MOST_TEXT],
        sessions=given.get("sessions", "").strip()[: 10 * _MOST_TEXT],
        rest=text("rest", ""),
    )
