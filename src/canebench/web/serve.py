"""Run the page on this machine's own address.

Guarded by `tests/web/test_serve.py`.
"""

from __future__ import annotations

import logging
import os
import socket
import sys
from threading import Timer
from typing import TYPE_CHECKING, Final

import uvicorn

from canebench.base.errors import InputError
from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType

ADDRESS: Final = "127.0.0.1"
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
    port = listening.getsockname()[1]
    entry = SignIn(port)
    app = create_app(context, entry, hosts=[f"{name}:{port}" for name in (ADDRESS, "localhost")])
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
    logging.getLogger("uvicorn.error").addFilter(_in_one_line)
    # Sound goes from thread to process and back: waiting 5 ms for each turn would be heard.
    sys.setswitchinterval(5e-4)
    server = _Server(config, lambda: ready(f"http://{ADDRESS}:{port}{entry.link()}"))
    server.run(sockets=[listening])


class _Server(uvicorn.Server):
    """Says when it listens."""

    def __init__(self, config: uvicorn.Config, listens: Callable[[], None]) -> None:
        super().__init__(config)
        self.listens = listens

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """As usual, then the word."""
        await super().startup(sockets=sockets)
        self.listens()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """As usual, and by force where that takes too long: the ledger stands a kill."""
        deadline = Timer(_LAST_S, os._exit, [128 + sig])
        deadline.daemon = True
        deadline.start()
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
