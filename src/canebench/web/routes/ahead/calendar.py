"""A plan of breaking in by weeks: its page, a week's sheet, and its calendar file.

A plan for many reeds is made by a process of its own: other pages do not wait for it. Guarded by
`tests/web/test_calendar.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from canebench.base.errors import CanebenchError, InputError
from canebench.bench.acts.band import band_defaults
from canebench.bench.acts.reeds.people import player_names
from canebench.bench.views.ahead.calendar import (
    Calendar,
    NothingToPlanError,
    Wanted,
    calendar,
    day_from,
    ics_of,
    reeds_to_plan,
)
from canebench.bench.views.ahead.calendar_weeks import PlannedWeek, week_at, weeks_of
from canebench.bench.views.ahead.calendar_words import STRAINS, plan_said, rests_on
from canebench.web.context import context_of
from canebench.web.forms.calendar_query import CalendarQuery, calendar_query, field_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from datetime import date

    from starlette.requests import Request

    from canebench.reeds.breaking_in.ladder import Ladder
    from canebench.web.live.workers import Workers

#: So many reeds are planned for as quickly here as another process begins.
_FEW: Final = 40
#: So many rows have room on one sheet of paper held sideways; so many close together; so many upright.
_ROOMY, _CLOSE, _LONG = 14, 24, 34


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarPage:
    """What was asked and its plan by weeks; where there is none `lacks` or `problem` says why.

    `wrong` is the input that will not do; `sheets` are the addresses of the weeks' sheets, `file` that of the
    calendar file.
    """

    template: ClassVar[str] = "calendar.html"
    room: ClassVar[str] = "Reeds"
    title: str = "Break-in by weeks"
    asked: CalendarQuery
    players: list[str]
    found: Calendar | None
    weeks: tuple[PlannedWeek, ...]
    says: tuple[str, ...]
    sheets: tuple[str, ...]
    file: str
    lacks: str
    problem: str
    wrong: str
    rests_on: tuple[tuple[str, str, str], ...]
    strains: str = STRAINS


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """One week to print; the others' addresses beside it, "" for none."""

    template: ClassVar[str] = "calendar-sheet.html"
    room: ClassVar[str] = "Reeds"
    title: str
    week: PlannedWeek
    ids: dict[str, int]
    before: str
    after: str
    back: str
    strains: str = STRAINS

    @property
    def room_for(self) -> str:
        """How close its rows stand, so that they fit on one sheet of paper."""
        rows = len(self.week.rows)
        return "roomy" if rows <= _ROOMY else "close" if rows <= _CLOSE else "long"

    @property
    def fits(self) -> str:
        """On how much paper it goes, in words."""
        rows = len(self.week.rows)
        if rows <= _CLOSE:
            return "it fits on one sheet, held sideways"
        return "it fits on one sheet" if rows <= _LONG else "each of its sheets has the days at its head"


async def page(request: Request) -> Response:
    """The form, and the plan below it."""

    def read() -> tuple[CalendarPage, int]:
        asked, today, ladder = _asked(request)
        found, lacks, problem, wrong, status = None, "", "", "", 200
        try:
            found = _planned(request, asked.wanted(today, ladder))
        except NothingToPlanError as error:
            lacks = error.lacks
        except CanebenchError as error:
            problem, status = str(error), error.http_status
            wrong = field_of(error) if isinstance(error, InputError) else ""
        weeks = () if found is None else weeks_of(found)
        made = CalendarPage(
            asked=asked,
            players=player_names(context_of(request).ledger),
            found=found,
            weeks=weeks,
            says=() if found is None else plan_said(found),
            sheets=tuple(_sheet(asked, week) for week in weeks),
            file=asked.address("/calendar.ics"),
            lacks=lacks,
            problem=problem,
            wrong=wrong,
            rests_on=rests_on(ladder if found is None else found.wanted.ladder),
        )
        return made, status

    made, status = await run_in_threadpool(read)
    return show(request, made, status=status)


async def sheet(request: Request) -> Response:
    """A week of the plan that the address asks for: the one that holds the day `week`, else the first."""

    def read() -> SheetPage:
        asked, today, ladder = _asked(request)
        given = request.query_params.get("week", "").strip()
        day = day_from(given, "week", nearest=today.isoformat()) if given else None
        found = _planned(request, asked.wanted(today, ladder))
        weeks = weeks_of(found)
        at = week_at(weeks, day)
        return SheetPage(
            title=f"Break-in, {weeks[at].said}",
            week=weeks[at],
            ids=dict(found.ids),
            before=_sheet(asked, weeks[at - 1]) if at else "",
            after=_sheet(asked, weeks[at + 1]) if at + 1 < len(weeks) else "",
            back=asked.address("/calendar"),
        )

    return show(request, await run_in_threadpool(read))


async def file(request: Request) -> Response:
    """The same plan as a calendar file."""

    def read() -> bytes:
        asked, today, ladder = _asked(request)
        return ics_of(_planned(request, asked.wanted(today, ladder)))

    return Response(
        await run_in_threadpool(read),
        media_type="text/calendar; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="canebench-reeds.ics"'},
    )


def _asked(request: Request) -> tuple[CalendarQuery, date, Ladder]:
    """What is asked, what day it is there, and how long sessions are unless told."""
    ledger = context_of(request).ledger
    usual = band_defaults(ledger)
    today = ledger.clock().astimezone(usual.zone).date()
    return calendar_query(request.query_params, today), today, usual.ladder


def _planned(request: Request, wanted: Wanted) -> Calendar:
    ledger = context_of(request).ledger
    if reeds_to_plan(ledger, wanted) <= _FEW:
        return calendar(ledger, wanted)
    workers: Workers = request.app.state.workers
    return workers.aside(calendar, ledger, wanted)


def _sheet(asked: CalendarQuery, week: PlannedWeek) -> str:
    return asked.address("/calendar/sheet", week=week.first.isoformat())
