"""The fitting: one reed in one chanter, one act at a time.

Guarded by `tests/web/test_fitting.py` and `tests/browser/test_fitting.py`.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse

from canebench.base.notes import NOTES
from canebench.bench.views.list_scales import list_scales
from canebench.web.context import context_of
from canebench.web.forms.fitting_query import query_of, request_from, shown
from canebench.web.forms.forms import read_form
from canebench.web.forms.new_take import measure_new_take
from canebench.web.forms.post_redirect import answer
from canebench.web.live.measurings import give_up_where_gone
from canebench.web.pages.fitting_view import FittingView, view_of
from canebench.web.pages.render import show
from canebench.web.routes.shell import own_path

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.base.scales import Scale
    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form
    from canebench.web.live.measurings import Measuring


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingPage:
    """The fitting as it stands."""

    template: ClassVar[str] = "fitting.html"
    room: ClassVar[str] = "Fitting"
    title: str
    view: FittingView
    query: dict[str, str]
    aim: dict[str, str]
    scales: tuple[Scale, ...]
    notes: tuple[str, ...]
    problem: FieldProblem | None


async def fitting(request: Request) -> Response:
    """Show the fitting."""
    return await _fitting(request, None, 200)


async def _fitting(request: Request, problem: FieldProblem | None, status: int) -> Response:
    context = context_of(request)
    given = problem.given if problem else request.query_params
    asked = request_from(given)

    def read() -> FittingPage:
        now = request.app.state.fittings.now(
            request.path_params["reed"], request.path_params["chanter"], asked
        )
        return FittingPage(
            title=f"Reed {now.reed.number} in {now.chanter.name}",
            view=view_of(now, unfinished=context.recordings.unfinished()),
            query=query_of(given),
            aim=shown(now.fitting),
            scales=list_scales(),
            notes=NOTES,
            problem=problem,
        )

    return show(request, await run_in_threadpool(read), status=status)


async def take(request: Request) -> Response:
    """Measure a take after whatever was done, and go on."""
    reed, chanter = request.path_params["reed"], request.path_params["chanter"]
    fittings, loop = request.app.state.fittings, asyncio.get_running_loop()
    watching: list[asyncio.Task[None]] = []

    def watch(measuring: Measuring) -> None:
        watching.append(loop.create_task(give_up_where_gone(request, measuring)))

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        ledger.measuring = request.app.state.measurings.named(form.text("attempt"))
        loop.call_soon_threadsafe(watch, ledger.measuring)
        asked = request_from(form.texts)
        fitted = measure_new_take(context, ledger, form, fittings.now(reed, chanter, asked), asked)
        if fitted.refusal is not None:
            raise fitted.refusal
        # Computed here, once, so that the page that follows comes at once.
        fittings.now(reed, chanter, asked)
        query = urlencode(query_of(form.texts))
        return own_path(f"/fit/{reed}/{chanter}") + (f"?{query}" if query else "")

    try:
        return await answer(request, act, form="take", again=_fitting)
    finally:
        for task in watching:
            task.cancel()


async def give_up(request: Request) -> Response:
    """A take is not wanted while it is measured: whether it was kept all the same, since that was before."""
    gone = request.app.state.measurings.named(request.path_params["attempt"]).give_up()
    return JSONResponse({"kept": not gone})


async def throw_away(request: Request) -> Response:
    """An unfinished recording is not wanted: a sound file, never part of the ledger."""
    context = context_of(request)
    form = await read_form(request)
    context.recordings.kept(context.recordings.finished(request.path_params["name"]))
    return RedirectResponse(own_path(form.text("back")), status_code=303)
