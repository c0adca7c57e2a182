"""How often forecasts held. Guarded by `tests/web/test_kept_page.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from starlette.concurrency import run_in_threadpool

from canebench.bench.views.ahead.kept_chart import draw_kept
from canebench.bench.views.ahead.kept_word import how_counted, kept_word
from canebench.bench.views.ahead.words import heading_of, held_between
from canebench.reeds.forecasts.history import QUANTITIES
from canebench.web.context import context_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.views.ahead.kept_word import Reliability, Said

#: So many forecasts are named one by one.
_NAMED: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRange:
    """One range: what was said, how many fell inside, between what the share lies, what that says."""

    stated: str
    inside: str
    between: str
    so: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPlot:
    """One quantity: its name, what is said of it, its picture, and the same ranges as a table."""

    what: str
    key: str
    said: str
    svg: str
    ranges: list[KeptRange]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPage:
    """Every quantity of which a forecast's day has come, and the newest forecasts by name, out of `count`."""

    template: ClassVar[str] = "kept.html"
    room: ClassVar[str] = "Reeds"
    title: str
    plots: list[KeptPlot]
    missing: list[str]
    newest: list[tuple[str, Said]]
    count: int
    why_none: str
    counted: str


async def kept(request: Request) -> Response:
    """All reeds' forecasts beside what was read since."""
    ledger = context_of(request).ledger

    def read() -> KeptPage:
        found = kept_word(ledger)
        return KeptPage(
            title="How often forecasts held",
            plots=[_plot(one) for one in found.held],
            missing=[heading_of(what) for what in QUANTITIES if what not in {one.what for one in found.held}],
            newest=[(heading_of(one.what), one) for one in found.said[:_NAMED]],
            count=len(found.said),
            why_none=found.why_none,
            counted=how_counted(),
        )

    return show(request, await run_in_threadpool(read))


def _plot(one: Reliability) -> KeptPlot:
    return KeptPlot(
        what=heading_of(one.what),
        key=one.what.replace("_", "-"),
        said=one.said,
        svg=draw_kept(one),
        ranges=[
            KeptRange(
                stated=f"{level.stated} %",
                inside=f"{level.inside} of {level.of}",
                between=held_between(level),
                so=str(level.bears_out),
            )
            for level in one.levels
        ],
    )
