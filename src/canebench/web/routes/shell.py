"""What every page offers: its looks, taking an act back, and the story of what was done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from canebench.base.errors import InputError
from canebench.bench.acts.upkeep.undo_act import undo_act
from canebench.web.context import context_of
from canebench.web.forms.forms import read_form
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show
from canebench.web.pages.theme import COOKIE, TEXT_COOKIE, TEXTS, THEMES

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.acts.ledger import ActRecord
    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form

_YEAR_S: Final = 365 * 24 * 3600
_PAGE: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryPage:
    """Acts, newest first, that hold `search`; `before` is the number to go on from, None at the end."""

    template: ClassVar[str] = "history.html"
    room: ClassVar[str] = ""
    title: str = "What was done"
    acts: list[ActRecord]
    before: int | None
    search: str
    problem: FieldProblem | None

    def earlier(self) -> str:
        """The address of the acts before these."""
        told = {"search": self.search, "before": self.before}
        return "/history?" + urlencode({name: value for name, value in told.items() if value})


async def set_theme(request: Request) -> Response:
    """Keep the theme and the size of text in cookies; nothing of them goes into the ledger."""
    form = await read_form(request)
    going_back = RedirectResponse(own_path(form.text("back")), status_code=303)
    for cookie, chosen, known in (
        (COOKIE, form.text("theme") or "system", THEMES),
        (TEXT_COOKIE, form.text("text"), TEXTS),
    ):
        if chosen in dict(known):
            going_back.set_cookie(cookie, chosen, max_age=_YEAR_S, samesite="strict", httponly=True)
    return going_back


async def undo(request: Request) -> Response:
    """Take an act back."""
    number = request.path_params["act"]

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        undo_act(ledger, number, who=context.who)
        return own_path(form.text("back"))

    return await answer(request, act, form="undo", again=_history)


async def history(request: Request) -> Response:
    """The acts."""
    return await _history(request, None, 200)


async def _history(request: Request, problem: FieldProblem | None, status: int) -> Response:
    given = request.query_params.get("before", "")
    before = int(given) if given.isascii() and given.isdigit() and len(given) < 16 else None
    search = request.query_params.get("search", "").strip()
    ledger = context_of(request).ledger

    def read() -> list[ActRecord]:
        with ledger.reading() as reader:
            return reader.history(limit=_PAGE, before=before, search=search or None)

    acts = await run_in_threadpool(read)
    more = acts[-1].id if len(acts) == _PAGE else None
    page = HistoryPage(acts=acts, before=more, search=search, problem=problem)
    return show(request, page, status=status)


def own_path(given: str | None) -> str:
    """A path of ours to go back to; anything else leads to the first page."""
    path = given or "/"
    if not path.startswith("/") or path.startswith(("//", "/\\")) or any(ord(one) < 33 for one in path):
        return "/"
    return path


def page_number(request: Request) -> int:
    """Which page of a long list, from 1."""
    given = request.query_params.get("page", "1")
    if not given.isascii() or not given.isdigit() or not 1 <= len(given) <= 6 or int(given) < 1:
        raise InputError(field="page", given=repr(given), allowed="pages are counted from 1", nearest="1")
    return int(given)
