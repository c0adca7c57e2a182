"""The first page: the fitting worked on last, what needs one today, and where one begins.

Guarded by `tests/web/test_home.py` and `tests/browser/test_home.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import CanebenchError, NotFoundError
from canebench.bench.acts.fitting.begin_fitting import FittingChoices, begin_fitting, fitting_choices
from canebench.bench.acts.fitting.fit_reed import Place
from canebench.bench.views.home.today import Today, today
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.fitting_view import sentences_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.views.fitting_now import Fittings
    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form


@dataclass(frozen=True, slots=True, kw_only=True)
class HomePage:
    """Where one goes on, and where one begins; `next_act` is the one of the fitting worked on last."""

    template: ClassVar[str] = "home.html"
    room: ClassVar[str] = "Fitting"
    title: str
    today: Today
    next_act: str
    choices: FittingChoices
    given: dict[str, str]
    may_try: bool
    problem: FieldProblem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonPage:
    """The way to the invented season, and how to leave it again; `link` signs in there, once."""

    template: ClassVar[str] = "season.html"
    room: ClassVar[str] = "Fitting"
    title: str = "The invented season"
    link: str
    folder: str
    problem: FieldProblem | None


async def home(request: Request) -> Response:
    """The first page."""
    return await _home(request, None, 200)


async def _home(request: Request, problem: FieldProblem | None, status: int) -> Response:
    ledger = context_of(request).ledger
    asked = ("reed", "chanter", "player")

    def read() -> HomePage:
        found = today(ledger)
        given = {name: request.query_params.get(name, "") for name in asked}
        return HomePage(
            title="Begin" if found.empty else "Today",
            today=found,
            next_act=_next_act(request.app.state.fittings, found),
            choices=fitting_choices(ledger),
            given=given,
            may_try=request.app.state.season is not None,
            problem=problem,
        )

    return show(request, await run_in_threadpool(read), status=status)


def _next_act(fittings: Fittings, found: Today) -> str:
    """The first sentence of what the fitting worked on last asks for; "" where that cannot be told."""
    if found.going is None:
        return ""
    try:
        act = fittings.now(found.going.reed.id, found.going.chanter.id).next_act
    except CanebenchError:
        # A scale of another bench, say: its own page tells why.
        return ""
    return "" if act is None else sentences_of(act.say)[0]


async def begin(request: Request) -> Response:
    """Go to the fitting of the reed and chanter chosen, adding what is new."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        place = Place(
            reed=form.needed("reed", "reed"),
            chanter=form.needed("chanter", "chanter"),
            player=form.text("player"),
        )
        insist, offered = form.ticked("insist"), form.text("offered")
        reed, chanter = begin_fitting(ledger, place, who=context.who, insist=insist, offered=offered)
        return f"/fit/{reed}/{chanter}"

    return await answer(request, act, form="begin", again=_home)


async def make_season(request: Request) -> Response:
    """Make the invented season, in a folder and on an address of its own; this ledger is not touched."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        del context, ledger, form
        opened = request.app.state.season
        if opened is None:
            raise NotFoundError("From here no season is made. On the command line: canebench demo --serve")
        opened.link()
        return "/season"

    return await answer(request, act, form="season", again=_home)


async def season(request: Request) -> Response:
    """The way there, once it was made."""
    opened = request.app.state.season
    if opened is None or not opened.runs:
        return await _home(request, None, 404)
    link = await run_in_threadpool(opened.link)
    return show(request, SeasonPage(link=link, folder=str(opened.folder), problem=None))
