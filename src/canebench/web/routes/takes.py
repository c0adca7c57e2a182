"""Takes: the list, one take, its sound to hear and to look at. Guarded by `tests/web/test_takes.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, Response

from canebench.base.errors import NotFoundError
from canebench.bench.views.browse_takes import (
    PAGE,
    TakeFilter,
    TakeLine,
    TakePage,
    list_takes,
    remove_take,
    take_choices,
    take_page,
)
from canebench.bench.views.take_sound import TakeSound, take_sound, take_spectrogram
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show
from canebench.web.routes.shell import page_number

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.requests import Request

    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form

_FILTERS: Final = ("chanter", "player")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakesPage:
    """A page of takes."""

    template: ClassVar[str] = "takes.html"
    room: ClassVar[str] = "Takes"
    title: str = "Takes"
    lines: list[TakeLine]
    total: int
    number: int
    filters: dict[str, str]
    choices: TakeFilter

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return max(1, -(-self.total // PAGE))

    def at(self, number: int) -> str:
        """The address of another page."""
        return "/takes?" + urlencode({**self.filters, "page": number})


@dataclass(frozen=True, slots=True, kw_only=True)
class OneTakePage:
    """One take; `sound` where it was asked to be looked at."""

    template: ClassVar[str] = "take.html"
    room: ClassVar[str] = "Takes"
    title: str
    one: TakePage
    sound: TakeSound | None
    problem: FieldProblem | None


async def takes(request: Request) -> Response:
    """The list, newest first."""
    filters = {n: request.query_params[n] for n in _FILTERS if request.query_params.get(n, "").isdecimal()}
    where = {f"{name}_id": int(value[:15]) for name, value in filters.items()}
    reed, search = (request.query_params.get(name, "").strip() for name in ("reed", "search"))
    number = page_number(request)
    ledger = context_of(request).ledger
    lines, total = await run_in_threadpool(
        list_takes, ledger, where, page=number, reed=reed or None, search=search or None
    )
    choices = await run_in_threadpool(take_choices, ledger)
    filters |= {name: text for name, text in (("reed", reed), ("search", search)) if text}
    page = TakesPage(lines=lines, total=total, number=number, filters=filters, choices=choices)
    return show(request, page)


async def take(request: Request) -> Response:
    """One take."""
    return await _take(request, None, 200)


async def sound_pictures(request: Request) -> Response:
    """One take with its sound drawn."""
    path = await run_in_threadpool(_recording, request)
    picture = f"/takes/{request.path_params['take']}/spectrogram.png"
    sound = await run_in_threadpool(take_sound, path, picture=picture)
    return await _take(request, None, 200, sound)


async def _take(
    request: Request, problem: FieldProblem | None, status: int, sound: TakeSound | None = None
) -> Response:
    context = context_of(request)
    one = await run_in_threadpool(take_page, context.ledger, request.path_params["take"], context.takes)
    page = OneTakePage(title=f"Take {one.line.take.id}", one=one, sound=sound, problem=problem)
    return show(request, page, status=status)


async def audio(request: Request) -> Response:
    """The recording as it was kept; browsers ask for parts of it."""
    return FileResponse(await run_in_threadpool(_recording, request), media_type="audio/flac")


async def spectrogram(request: Request) -> Response:
    """A PNG of the recording."""
    path = await run_in_threadpool(_recording, request)
    return Response(await run_in_threadpool(take_spectrogram, path), media_type="image/png")


async def remove(request: Request) -> Response:
    """Into the bin."""
    take_id = request.path_params["take"]

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        del form
        remove_take(ledger, take_id, who=context.who)
        return "/takes"

    return await answer(request, act, form="remove", again=_take)


def _recording(request: Request) -> Path:
    context = context_of(request)
    path = take_page(context.ledger, request.path_params["take"], context.takes).recording
    if path is None:
        raise NotFoundError("This take has no recording on this machine.")
    return path
