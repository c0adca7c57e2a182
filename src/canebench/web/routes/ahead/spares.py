"""Who plays which settled reed, and who lacks one. Guarded by `tests/web/test_spares.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import InputError
from canebench.base.parsing import count_from
from canebench.bench.views.ahead.spares import MOST_PLAYERS, Spares, spares
from canebench.reeds.lots.spares import USUAL_EACH
from canebench.web.context import context_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response


@dataclass(frozen=True, slots=True, kw_only=True)
class SparesPage:
    """Settled reeds by player; `each` as it was typed, `problem` is why it will not do."""

    template: ClassVar[str] = "spares.html"
    room: ClassVar[str] = "Players"
    title: str = "Who plays which reed"
    found: Spares
    each: str
    most_players: int
    problem: str


async def spares_page(request: Request) -> Response:
    """Every player's reeds; `each` of the address says how many each should have."""
    ledger = context_of(request).ledger
    typed = request.query_params.get("each", "").strip()[:50]

    def read() -> tuple[SparesPage, int]:
        problem, status = "", 200
        try:
            each = count_from(typed, "reeds for each player") if typed else USUAL_EACH
            found = spares(ledger, each=each)
        except InputError as error:
            found, problem, status = spares(ledger), str(error), error.http_status
        page = SparesPage(
            found=found, each=typed or f"{USUAL_EACH}", most_players=MOST_PLAYERS, problem=problem
        )
        return page, status

    page, status = await run_in_threadpool(read)
    return show(request, page, status=status)
