"""Chanters: sizes, what a millimetre does on them, drones. Guarded by `tests/web/test_chanters.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import InputError
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.drones import DroneNow, keep_drone, list_drones
from canebench.bench.acts.reeds.people import player_names
from canebench.bench.views.browse_chanters import (
    ChanterLine,
    ChanterPage,
    chanter_lines,
    chanter_page,
    edit_chanter,
)
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form

_MOST_BYTES: Final = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ChantersPage:
    """All chanters, and the drones with their pins."""

    template: ClassVar[str] = "chanters.html"
    room: ClassVar[str] = "Chanters"
    title: str = "Chanters and drones"
    chanters: list[ChanterLine]
    players: list[str]
    drones: list[DroneNow]
    problem: FieldProblem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OneChanterPage:
    """One chanter."""

    template: ClassVar[str] = "chanter.html"
    room: ClassVar[str] = "Chanters"
    title: str
    one: ChanterPage
    players: list[str]
    problem: FieldProblem | None


async def chanters(request: Request) -> Response:
    """The list."""
    return await _chanters(request, None, 200)


async def _chanters(request: Request, problem: FieldProblem | None, status: int) -> Response:
    ledger = context_of(request).ledger

    def read() -> ChantersPage:
        return ChantersPage(
            chanters=chanter_lines(ledger),
            players=player_names(ledger),
            drones=list_drones(ledger),
            problem=problem,
        )

    return show(request, await run_in_threadpool(read), status=status)


async def add_chanter(request: Request) -> Response:
    """A new chanter."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        chanter = keep_chanter(ledger, form.needed("name", "name"), who=context.who, sizes=None)
        return f"/chanters/{chanter.id}"

    return await answer(request, act, form="chanter", again=_chanters)


async def add_drone(request: Request) -> Response:
    """A drone with the mark on its pin, or where the pin stands now."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        keep_drone(
            ledger,
            form.needed("name", "drone"),
            who=context.who,
            kind=form.text("kind"),
            player=form.text("player"),
            mark_mm=form.number("mark_mm", "mark"),
            pin_mm=form.number("pin_mm", "pin"),
            hz=form.number("hz", "pitch"),
        )
        return "/chanters"

    return await answer(request, act, form="drone", again=_chanters)


async def chanter(request: Request) -> Response:
    """One chanter."""
    return await _chanter(request, None, 200)


async def _chanter(request: Request, problem: FieldProblem | None, status: int) -> Response:
    ledger = context_of(request).ledger

    def read() -> OneChanterPage:
        one = chanter_page(ledger, request.path_params["chanter"], request.app.state.effects)
        return OneChanterPage(title=one.chanter.name, one=one, players=player_names(ledger), problem=problem)

    return show(request, await run_in_threadpool(read), status=status)


async def change_chanter(request: Request) -> Response:
    """Change a chanter, as read."""
    chanter_id = request.path_params["chanter"]

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        told = {name: form.text(name) for name in ("name", "player", "remarks", "sizes")}
        if "file" in form.files:
            told["sizes"] = _text(form.files["file"])
        read = {
            "name": form.text("read_name"),
            "remarks": form.text("read_remarks"),
            "player_id": form.count("read_player_id", "player"),
            "version": form.version(),
        }
        edit_chanter(ledger, chanter_id, told, read=read, who=context.who)
        return f"/chanters/{chanter_id}"

    return await answer(request, act, form="chanter", again=_chanter)


def _text(file: UploadFile) -> str:
    """A chanter's file as text."""
    name = f"file {(file.filename or '')[-60:]}"
    data = file.file.read(_MOST_BYTES + 1)
    if len(data) > _MOST_BYTES:
        raise InputError(field=name, given="more than 60 kB", allowed="a chanter's sizes are a few lines")
    if not data.strip():
        raise InputError(field=name, given="an empty file", allowed="a chanter's sizes are needed in it")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            field=name, given="no text", allowed="a chanter's file is text, TOML in UTF-8"
        ) from None
