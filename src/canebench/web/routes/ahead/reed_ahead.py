"""What a reed will become. Guarded by `tests/web/test_ahead.py`."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.bench.views.ahead.chart import chart_of
from canebench.bench.views.ahead.foretold import Foresight, reed_foretold
from canebench.care.cautions import Caution, Occasion, cautions_for
from canebench.web.context import context_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response


@dataclass(frozen=True, slots=True, kw_only=True)
class AheadPage:
    """A reed's forecast, its chart as JSON, and the cautions where a pinch is spoken of."""

    template: ClassVar[str] = "ahead.html"
    room: ClassVar[str] = "Reeds"
    title: str
    one: Foresight
    chart: str
    cautions: tuple[Caution, ...]


async def ahead(request: Request) -> Response:
    """One reed's forecast, for whose reed it is."""
    ledger = context_of(request).ledger

    def read() -> AheadPage:
        one = reed_foretold(ledger, int(request.path_params["reed"]))
        spoken_of = one.pinch is not None and one.pinch.advised
        return AheadPage(
            title=f"Reed {one.reed.number}: what it will become",
            one=one,
            chart=json.dumps(chart_of(one)),
            cautions=cautions_for(Occasion.PINCH) if spoken_of else (),
        )

    return show(request, await run_in_threadpool(read))
