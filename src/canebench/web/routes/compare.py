"""Two reeds or two lots side by side. Guarded by `tests/web/test_glance.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import CanebenchError
from canebench.bench.acts.reeds.stock import list_lots
from canebench.bench.views.glance.compare import compare_lots, compare_reeds
from canebench.web.context import context_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.views.glance.compare import Compared


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparePage:
    """What was asked for, and both sides where there are two; `said` is why there are not."""

    template: ClassVar[str] = "compare.html"
    room: ClassVar[str] = "Reeds"
    title: str
    reeds: list[str]
    lots: list[str]
    known_lots: list[str]
    compared: Compared | None
    said: str


async def compare(request: Request) -> Response:
    """Both, as the address names them: `reed` twice, or `lot` twice."""
    ledger = context_of(request).ledger
    reeds, lots = (
        [one.strip() for one in request.query_params.getlist(name) if one.strip()] for name in ("reed", "lot")
    )
    by_lot = bool(lots) and len(reeds) != 2

    def read() -> tuple[ComparePage, int]:
        compared, said, status = None, "", 200
        try:
            if by_lot:
                compared = compare_lots(ledger, lots)
            elif reeds:
                compared = compare_reeds(ledger, reeds)
        except CanebenchError as error:
            said, status = str(error), error.http_status
        title = "Side by side" if compared is None else " and ".join(one.name for one in compared.sides)
        page = ComparePage(
            title=title,
            reeds=reeds,
            lots=lots,
            known_lots=[one.name for one in list_lots(ledger)],
            compared=compared,
            said=said,
        )
        return page, status

    page, status = await run_in_threadpool(read)
    return show(request, page, status=status)
