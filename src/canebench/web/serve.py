"""Run the page on this machine's own address.

Guarded by `tests/web/test_serve.py`.
"""

from __future__ import annotations

import gc
import logging
import os
import socket
import sys
import threading
from threading import Timer
from typing import TYPE_CHECKING, Final

import uvicorn

from canebench.base.errors import CanebenchError, InputError
from canebench.bench.acts.ledger import season_folder
from canebench.bench.acts.upkeep.demo_season import season_in
from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from types import FrameType

    from canebench.web.context import BenchContext

ADDRESS: Final = "127.0.0.1"
_STARTS_S: Final = 20.0
#: Streams and answers have so long to come to their end, s; after the second the process ends by force.
_GRACE_S, _LAST_S = 3, 4.5


def serve(*, ledger_url: str | None, who: str | None, port: int, ready: Callable[[str], None]) -> None:
    """Serve until stopped.

    Parameters
    ----------
    ledger_url, who : str or None
        As the person named them; None for the usual ones.
    port : int
        0 for any free one.
    ready : function
        Called with the sign-in link once the page can be opened.
    """
    context = open_context(ledger_url, who)
    context.ledger.empty_bin(who=context.who)
    listening = _listen(port)
    home = f"http://{ADDRESS}:{listening.getsockname()[1]}"
    logging.getLogger("uvicorn.error").addFilter(_in_one_line)
    # Sound goes from thread to process and back: waiting 5 ms for each turn would be heard.
    sys.setswitchinterval(5e-4)
    season = None if context.season else SeasonBench(season_folder(ledger_url), context.who, home=home)
    server, entry = _server(context, listening, season=season)
    server.listens = lambda: ready(home + entry.link())
    keep_what_stands()
    if season is not None:
        server.ends = season.end
    try:
        server.run(sockets=[listening])
    finally:
        if season is not None:
            season.close()


def keep_what_stands() -> None:
    """What lives now is looked through for rubbish no more: it lives as long as the process.

    Else one page in seven waits some 25 ms while Python goes through every module again. Measured by
    `benchmarks/pages.py`.
    """
    gc.collect()
    gc.freeze()


def _server(
    context: BenchContext, listening: socket.socket, *, season: SeasonBench | None = None
) -> tuple[_Server, SignIn]:
    """A server for one bench, on a socket that listens already; and who has signed in there."""
    port = listening.getsockname()[1]
    entry = SignIn(port)
    app = create_app(context, entry, hosts=[f"{name}:{port}" for name in (ADDRESS, "localhost")])
    app.state.season = season
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="websockets-sansio",
        ws_max_size=2**20,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=_GRACE_S,
    )
    return _Server(config), entry


class SeasonBench:
    """The invented season on an address of its own: no form of one bench can reach the other's ledger.

    It is made in `folder` when it is first asked for, and served until this bench ends; the folder stays.
    Guarded by `tests/web/test_season_bench.py`.
    """

    def __init__(self, folder: Path, who: str, *, home: str) -> None:
        self.folder, self._who, self._home = folder, who, home
        self._lock = threading.Lock()
        self._running: tuple[_Server, SignIn, str, threading.Thread] | None = None

    def link(self) -> str:
        """A link that signs a browser in there, once."""
        with self._lock:
            if self._running is None:
                self._running = self._start()
            _, entry, address, _ = self._running
        return address + entry.link()

    @property
    def runs(self) -> bool:
        """Whether it was asked for."""
        return self._running is not None

    def _start(self) -> tuple[_Server, SignIn, str, threading.Thread]:
        context = open_context(str(season_in(self.folder)), self._who, home=self._home)
        listening = _listen(0)
        server, entry = _server(context, listening)
        began = threading.Event()
        server.listens = began.set
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        if not began.wait(_STARTS_S):
            raise CanebenchError("The season could not be opened: its server does not start.")
        return server, entry, f"http://{ADDRESS}:{listening.getsockname()[1]}", thread

    def end(self) -> None:
        """It shall end, with the bench that it was opened from."""
        if self._running is not None:
            self._running[0].should_exit = True

    def close(self) -> None:
        """Wait until it has."""
        self.end()
        if self._running is not None:
            self._running[3].join(_GRACE_S)


class _Server(uvicorn.Server):
    """Says when it listens."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.listens: Callable[[], object] = lambda: None
        self.ends: Callable[[], object] = lambda: None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """As usual, then the word."""
        await super().startup(sockets=sockets)
        self.listens()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """As usual, and by force where that takes too long: the ledger stands a kill."""
        deadline = Timer(_LAST_S, os._exit, [128 + sig])
        deadline.daemon = True
        deadline.start()
        self.ends()
        super().handle_exit(sig, frame)


def _in_one_line(record: logging.LogRecord) -> bool:
    """Text of a socket that is no UTF-8 is its sender's fault and answered so: no traceback of ours."""
    if record.exc_info and isinstance(record.exc_info[1], UnicodeDecodeError):
        record.exc_info = None
    return True


def _listen(port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((ADDRESS, port))
    except (OSError, OverflowError) as error:
        made.close()
        raise InputError(
            field="port",
            given=f"{port}",
            allowed=f"it cannot be used ({getattr(error, 'strerror', None) or error})",
            nearest="--port 0, for any free one",
        ) from error
    return made
