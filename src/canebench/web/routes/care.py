"""Hearing, mouths, blades and dust: what the day still holds, and the usual cautions.

Guarded by `tests/web/test_care.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import CanebenchError
from canebench.bench.views.care_now import CareNow, care_now
from canebench.web.context import context_of
from canebench.web.forms.forms import FieldProblem, Form
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response


@dataclass(frozen=True, slots=True, kw_only=True)
class CarePage:
    """What is reckoned from what was asked, and what rests."""

    template: ClassVar[str] = "care.html"
    room: ClassVar[str] = "Care"
    title: str = "Care"
    now: CareNow
    given: dict[str, str]
    problem: FieldProblem | None


async def care(request: Request) -> Response:
    """Reckon from the ledger, or from what is typed."""
    given = dict(request.query_params)
    form = Form(texts=given, files={}, lists={})
    ledger = context_of(request).ledger
    problem = None
    try:
        now = await run_in_threadpool(
            care_now,
            ledger,
            level_dba=form.number("level", "level"),
            players=form.count("players", "players"),
            minutes=form.number("minutes", "minutes today"),
        )
    except CanebenchError as error:
        problem = FieldProblem(form="care", said=str(error), given=given)
        now = await run_in_threadpool(care_now, ledger)
    return show(request, CarePage(now=now, given=given, problem=problem), status=422 if problem else 200)
