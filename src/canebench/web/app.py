"""The page as one list: every address with its route, and the guards that each request passes.

Guarded by `tests/web/test_guard.py`, whose table is made from this list.
"""

from __future__ import annotations

from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from canebench.base.errors import CanebenchError
from canebench.bench.views.browse_chanters import Effects
from canebench.bench.views.fitting_now import Fittings
from canebench.web.forms.pending_uploads import PendingUploads
from canebench.web.live.measurings import Measurings
from canebench.web.live.workers import Workers
from canebench.web.pages.render import static_prefix
from canebench.web.routes import (
    care,
    chanters,
    compare,
    exchange,
    failures,
    fitting,
    helping,
    home,
    live,
    lots,
    people,
    reeds,
    settings,
    shell,
    takes,
)
from canebench.web.routes.ahead import calendar, kept, lot_worth, reed_ahead, spares
from canebench.web.routes.mending import spells
from canebench.web.security.origin_checks import (
    BodyLimit,
    HostCheck,
    OriginCheck,
    SecurityHeaders,
    SessionCheck,
)

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Sequence

    from starlette.routing import BaseRoute
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from canebench.web.context import BenchContext
    from canebench.web.security.sign_in import SignIn

#: What a body may hold, bytes: forms, and what brings a file with it.
_FORM: Final = 256 * 1024
_FILES: Final = {"/fit/": 256 * 2**20, "/exchange/": 64 * 2**20, "/lots/": 2**20}


def routes(entry: SignIn) -> list[BaseRoute]:
    """Every address of the page."""
    return [
        Route("/enter", entry.enter),
        Mount(static_prefix(), _Static(Path(str(files("canebench.web") / "static"))), name="static"),
        Route("/", home.home),
        Route("/season", home.season),
        Route("/season", home.make_season, methods=["POST"]),
        Route("/fit", home.begin, methods=["POST"]),
        Route("/fit/{reed:int}/{chanter:int}", fitting.fitting),
        Route("/fit/{reed:int}/{chanter:int}/take", fitting.take, methods=["POST"]),
        Route("/fit/give-up/{attempt}", fitting.give_up, methods=["POST"]),
        Route("/reeds", reeds.reeds),
        Route("/reeds", reeds.take_in, methods=["POST"]),
        Route("/reeds/{reed:int}", reeds.reed),
        Route("/reeds/{reed:int}/card.pdf", reeds.card),
        Route("/reeds/{reed:int}/ahead", reed_ahead.ahead),
        Route("/reeds/{reed:int}/spells", spells.spells),
        Route("/reeds/{reed:int}/spells/{spell:int}", spells.spell),
        Route("/reeds/{reed:int}/spells/{spell:int}", spells.mend, methods=["POST"]),
        Route("/reeds/{reed:int}/spells/{spell:int}/remove", spells.take_back, methods=["POST"]),
        Route("/reeds/{reed:int}/{act}", reeds.reed_act, methods=["POST"]),
        Route("/labels.pdf", reeds.labels),
        Route("/ahead/kept", kept.kept),
        Route("/compare", compare.compare),
        Route("/lots", lots.lots),
        Route("/lots", lots.begin, methods=["POST"]),
        Route("/lots/{lot:int}", lots.lot),
        Route("/lots/{lot:int}", lots.grade, methods=["POST"]),
        Route("/lots/{lot:int}/worth", lot_worth.worth),
        Route("/lots/{lot:int}/worth.pdf", lot_worth.report),
        Route("/calendar", calendar.page),
        Route("/calendar/sheet", calendar.sheet),
        Route("/calendar.ics", calendar.file),
        Route("/choose", people.choose),
        Route("/spares", spares.spares_page),
        Route("/players", people.players),
        Route("/players", people.add_player, methods=["POST"]),
        Route("/players/{player:int}", people.player),
        Route("/players/{player:int}", people.change_player, methods=["POST"]),
        Route("/chanters", chanters.chanters),
        Route("/chanters", chanters.add_chanter, methods=["POST"]),
        Route("/chanters/{chanter:int}", chanters.chanter),
        Route("/chanters/{chanter:int}", chanters.change_chanter, methods=["POST"]),
        Route("/drones", chanters.add_drone, methods=["POST"]),
        Route("/takes", takes.takes),
        Route("/takes/{take:int}", takes.take),
        Route("/takes/{take:int}/sound", takes.sound_pictures),
        Route("/takes/{take:int}/audio.flac", takes.audio),
        Route("/takes/{take:int}/spectrogram.png", takes.spectrogram),
        Route("/takes/{take:int}/remove", takes.remove, methods=["POST"]),
        Route("/care", care.care),
        Route("/exchange", exchange.exchange),
        Route("/exchange/check", exchange.in_order),
        Route("/exchange/download", exchange.download),
        Route("/exchange/import", exchange.preview, methods=["POST"]),
        Route("/exchange/commit", exchange.commit, methods=["POST"]),
        Route("/exchange/backup", exchange.make_backup, methods=["POST"]),
        Route("/exchange/verify", exchange.verify, methods=["POST"]),
        Route("/recordings/{name}/remove", fitting.throw_away, methods=["POST"]),
        Route("/help", helping.help_page),
        Route("/microphone", helping.microphone),
        WebSocketRoute("/live", live.live),
        Route("/settings", settings.settings),
        Route("/settings", settings.change_settings, methods=["POST"]),
        Route("/history", shell.history),
        Route("/undo/{act:int}", shell.undo, methods=["POST"]),
        Route("/theme", shell.set_theme, methods=["POST"]),
    ]


def create_app(context: BenchContext, entry: SignIn, *, hosts: Sequence[str]) -> Starlette:
    """The page for one bench.

    Parameters
    ----------
    context : BenchContext
        Its ledger and who writes in it.
    entry : Entry
        Who has signed in.
    hosts : sequence of str
        What the Host header may say: names of this machine with our port.
    """
    workers, pending_uploads = Workers(), PendingUploads()

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        yield
        workers.close()
        pending_uploads.close()

    app = Starlette(
        lifespan=lifespan,
        routes=routes(entry),
        middleware=[
            Middleware(SecurityHeaders),
            Middleware(HostCheck, hosts=hosts),
            Middleware(OriginCheck),
            Middleware(SessionCheck, known=entry.known, open_paths=("/enter", "/static/")),
            Middleware(BodyLimit, cap_of=_cap_of),
        ],
        exception_handlers={
            HTTPException: failures.on_http,
            CanebenchError: failures.on_ours,
            500: failures.on_any,
        },
    )
    app.state.context = context
    app.state.workers = workers
    app.state.effects = Effects()
    app.state.pending_uploads = pending_uploads
    app.state.measurings = Measurings()
    app.state.fittings = Fittings(context.ledger)
    app.state.season = None
    return app


def _cap_of(path: str) -> int:
    return next((cap for start, cap in _FILES.items() if path.startswith(start)), _FORM)


class _Static:
    """Our own files, named by a hash of their content, so they may be kept for good."""

    def __init__(self, folder: Path) -> None:
        self.files = StaticFiles(directory=folder)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def kept(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"].append((b"cache-control", b"public, max-age=31536000, immutable"))
            await send(message)

        inner: ASGIApp = self.files
        await inner(scope, receive, kept)
