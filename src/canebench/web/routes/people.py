"""Players, and which reeds suit one now. Guarded by `tests/web/test_players.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.bench.acts.band import band_defaults
from canebench.bench.acts.reeds.people import player_names, set_player
from canebench.bench.acts.reeds.stock import list_lots
from canebench.bench.views.browse_people import (
    Choosing,
    PlayerLine,
    PlayerPage,
    choosing,
    edit_player,
    player_lines,
    player_page,
)
from canebench.care.cautions import Occasion, cautions_for
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayersPage:
    """All players."""

    template: ClassVar[str] = "players.html"
    room: ClassVar[str] = "Players"
    title: str = "Players"
    players: list[PlayerLine]
    search: str
    cautions: list[str]
    problem: FieldProblem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePlayerPage:
    """One player."""

    template: ClassVar[str] = "player.html"
    room: ClassVar[str] = "Players"
    title: str
    one: PlayerPage
    cautions: list[str]
    problem: FieldProblem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoosePage:
    """Which reeds suit a player."""

    template: ClassVar[str] = "choose.html"
    room: ClassVar[str] = "Reeds"
    title: str = "Choose a reed for a player"
    players: list[str]
    lots: list[str]
    player: str
    lot: str
    found: Choosing | None
    cautions: list[str]


def _blowing() -> list[str]:
    return [one.say for one in cautions_for(Occasion.GRADE_STRENGTH)]


async def players(request: Request) -> Response:
    """The list."""
    return await _players(request, None, 200)


async def _players(request: Request, problem: FieldProblem | None, status: int) -> Response:
    search = request.query_params.get("search", "").strip()
    lines = await run_in_threadpool(player_lines, context_of(request).ledger, search)
    page = PlayersPage(players=lines, search=search, cautions=_blowing(), problem=problem)
    return show(request, page, status=status)


async def add_player(request: Request) -> Response:
    """A new player, or what is new of one."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        player = set_player(
            ledger,
            form.needed("name", "name"),
            who=context.who,
            blows=form.text("blows"),
            ceiling=form.text("ceiling"),
        )
        return f"/players/{player.id}"

    return await answer(request, act, form="player", again=_players)


async def player(request: Request) -> Response:
    """One player."""
    return await _player(request, None, 200)


async def _player(request: Request, problem: FieldProblem | None, status: int) -> Response:
    one = await run_in_threadpool(player_page, context_of(request).ledger, request.path_params["player"])
    page = OnePlayerPage(title=one.player.name, one=one, cautions=_blowing(), problem=problem)
    return show(request, page, status=status)


async def change_player(request: Request) -> Response:
    """Change a player, as read."""
    player_id = request.path_params["player"]

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        told = {name: form.text(name) for name in ("name", "blows_kpa", "ceiling_kpa", "remarks")}
        read = {
            "name": form.text("read_name"),
            "remarks": form.text("read_remarks"),
            "blows_kpa": form.number("read_blows_kpa", "what was read"),
            "ceiling_kpa": form.number("read_ceiling_kpa", "what was read"),
            "version": form.version(),
        }
        edit_player(ledger, player_id, told, read=read, who=context.who)
        return f"/players/{player_id}"

    return await answer(request, act, form="player", again=_player)


async def choose(request: Request) -> Response:
    """Which reeds of a lot suit a player now."""
    ledger = context_of(request).ledger
    asked, lot = request.query_params.get("player"), request.query_params.get("lot", "")

    def read() -> ChoosePage:
        # The reeds are judged at once for a player who is settled, until another is chosen, or none.
        name = (band_defaults(ledger).settled_player or "") if asked is None else asked
        return ChoosePage(
            players=player_names(ledger),
            lots=[one.name for one in list_lots(ledger)],
            player=name,
            lot=lot,
            found=choosing(ledger, name, lot or None) if name else None,
            cautions=_blowing(),
        )

    return show(request, await run_in_threadpool(read))
