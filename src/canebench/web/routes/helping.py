"""Help, offline, and the microphone check.

Guarded by `tests/web/test_crawl.py` and `tests/web/test_help_page.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from canebench.bench.views.drawing.example_beam import beats, example_beam
from canebench.care.cautions import CAUTIONS, NO_MEDICAL_ADVICE
from canebench.web.context import context_of
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.views.drawing.draw_fitting import Drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class HelpPage:
    """Everything one needs to know, on one page."""

    template: ClassVar[str] = "help.html"
    room: ClassVar[str] = "Help"
    title: str = "Help"
    ledger: str
    takes: str
    cautions: list[str]
    note: str
    example: Drawn
    beats: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MicrophonePage:
    """Device, rate, level, noise, and what the browser does to the sound."""

    template: ClassVar[str] = "microphone.html"
    room: ClassVar[str] = ""
    title: str = "Microphone check"


async def help_page(request: Request) -> Response:
    """Help."""
    context = context_of(request)
    page = HelpPage(
        ledger=str(getattr(context.ledger.database, "path", "on a PostgreSQL server")),
        takes=str(context.takes),
        cautions=[caution.say for caution in CAUTIONS.values()],
        note=NO_MEDICAL_ADVICE,
        example=example_beam(),
        beats=beats(),
    )
    return show(request, page)


async def microphone(request: Request) -> Response:
    """The check itself runs in the browser."""
    return show(request, MicrophonePage())
