"""Spells of a reed's playing, each to be mended or taken back. Guarded by `tests/web/test_spells.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from starlette.concurrency import run_in_threadpool

from canebench.bench.acts.reeds.people import player_names
from canebench.bench.acts.reeds.spells import (
    SpellLine,
    SpellPage,
    list_spells,
    mend_spell,
    spell_page,
    take_spell_back,
)
from canebench.bench.views.browse_reed import number_in_use
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show
from canebench.web.routes.shell import page_number

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form

_PAGE: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellsPage:
    """A page of a reed's spells, newest first."""

    template: ClassVar[str] = "spells.html"
    room: ClassVar[str] = "Reeds"
    title: str
    reed_id: int
    reed: str
    lines: list[SpellLine]
    total: int
    number: int
    pages: int

    def at(self, number: int) -> str:
        """The address of another page of them."""
        return f"/reeds/{self.reed_id}/spells?page={number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class OneSpellPage:
    """One spell."""

    template: ClassVar[str] = "spell.html"
    room: ClassVar[str] = "Reeds"
    title: str
    one: SpellPage
    players: list[str]
    problem: FieldProblem | None


async def spells(request: Request) -> Response:
    """The list."""
    ledger, reed_id, page = context_of(request).ledger, request.path_params["reed"], page_number(request)

    def read() -> SpellsPage:
        reed = number_in_use(ledger, reed_id)
        lines, total = list_spells(ledger, reed, limit=_PAGE, offset=_PAGE * (page - 1))
        return SpellsPage(
            title=f"Reed {reed}: spells of playing",
            reed_id=reed_id,
            reed=reed,
            lines=lines,
            total=total,
            number=page,
            pages=max(1, -(-total // _PAGE)),
        )

    return show(request, await run_in_threadpool(read))


async def spell(request: Request) -> Response:
    """One spell."""
    return await _spell(request, None, 200)


async def _spell(request: Request, problem: FieldProblem | None, status: int) -> Response:
    ledger = context_of(request).ledger

    def read() -> OneSpellPage:
        one = spell_page(ledger, request.path_params["reed"], request.path_params["spell"])
        title = f"Reed {one.reed.number}: a spell of playing"
        return OneSpellPage(title=title, one=one, players=player_names(ledger), problem=problem)

    return show(request, await run_in_threadpool(read), status=status)


async def mend(request: Request) -> Response:
    """Other minutes, another time or player."""

    def done(context: BenchContext, ledger: NotedLedger, form: Form, spell_id: int) -> None:
        told = {name: form.text(name) for name in ("minutes", "at", "player")}
        mend_spell(ledger, spell_id, told, read=_read(form), who=context.who)

    return await _answer(request, done, form="mend")


async def take_back(request: Request) -> Response:
    """Into the bin, as read."""

    def done(context: BenchContext, ledger: NotedLedger, form: Form, spell_id: int) -> None:
        take_spell_back(ledger, spell_id, read=_read(form), who=context.who)

    return await _answer(request, done, form="take-back")


async def _answer(
    request: Request, done: Callable[[BenchContext, NotedLedger, Form, int], None], *, form: str
) -> Response:
    reed_id, spell_id = request.path_params["reed"], request.path_params["spell"]

    def act(context: BenchContext, ledger: NotedLedger, given: Form) -> str:
        number_in_use(ledger, reed_id)
        spell_page(ledger, reed_id, spell_id)
        done(context, ledger, given, spell_id)
        return f"/reeds/{reed_id}"

    return await answer(request, act, form=form, again=_spell)


def _read(form: Form) -> dict[str, str | int | float | None]:
    """The spell as its page had it, or as one says that one has seen it since."""
    return {
        "minutes": form.number("read_minutes", "minutes as read"),
        "at": form.text("read_at"),
        "player_id": form.count("read_player_id", "player as read"),
        "version": form.version(),
    }
