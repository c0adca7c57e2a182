"""What every request passes before a route sees it.

The page is for the browser of this machine alone. A page elsewhere may still send that browser here: by a
form, by a WebSocket, or by a name of its own that it lets point to this machine. So in this order: the Host
must be ours; a method that changes something, and every WebSocket, must come from our own page (Origin, and
Sec-Fetch-Site where the browser sends it); then the browser must have signed in. Guarded by
`tests/web/test_guard.py`, which builds its table from the route list.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, Response
from starlette.websockets import WebSocketClose

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_SAFE: Final = ("GET", "HEAD", "OPTIONS")
#: Nothing from elsewhere, nothing written into the page: no script, style or picture but our own files.
POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "worker-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "media-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS: Final = (
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    # Not no-referrer: browsers then send "Origin: null" with our own forms.
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "microphone=(self), camera=(), geolocation=()"),
)


class HostCheck:
    """Refuses whatever was not addressed to us by a name of this machine."""

    def __init__(self, app: ASGIApp, hosts: Collection[str]) -> None:
        self.app, self.hosts = app, frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or 421."""
        if scope["type"] in ("http", "websocket"):
            given = Headers(scope=scope).getlist("host")
            if len(given) != 1 or given[0].lower() not in self.hosts:
                await _refuse(scope, receive, send, 421, "This is not an address of the bench.")
                return
        await self.app(scope, receive, send)


class OriginCheck:
    """Refuses changes and WebSockets that do not come from our own page."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or 403."""
        changes = scope["type"] == "http" and scope["method"] not in _SAFE
        if (changes or scope["type"] == "websocket") and not _from_own_page(Headers(scope=scope)):
            await _refuse(scope, receive, send, 403, "Only the bench's own page may do that.")
            return
        await self.app(scope, receive, send)


def _from_own_page(headers: Headers) -> bool:
    site = headers.get("sec-fetch-site")
    return headers.get("origin") == f"http://{headers.get('host')}" and site in (None, "same-origin")


class SessionCheck:
    """Refuses browsers that have not come by the sign-in link; `open_paths` are free."""

    def __init__(
        self, app: ASGIApp, known: Callable[[HTTPConnection], bool], open_paths: Collection[str]
    ) -> None:
        self.app, self.known, self.open_paths = app, known, tuple(open_paths)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or 401."""
        if scope["type"] in ("http", "websocket"):
            is_open = scope["path"].startswith(self.open_paths)
            if not is_open and not self.known(HTTPConnection(scope)):
                said = "Open the bench by the link that `canebench serve` shows; it works once."
                await _refuse(scope, receive, send, 401, said)
                return
        await self.app(scope, receive, send)


class SecurityHeaders:
    """Adds the headers that keep a page to itself."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, headers added to the answer."""

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS:
                    headers[name] = value
                headers.setdefault("cache-control", "no-store")
            await send(message)

        await self.app(scope, receive, headed)


class BodyLimit:
    """Refuses a request body that is larger than its path may bring."""

    def __init__(self, app: ASGIApp, cap_of: Callable[[str], int]) -> None:
        self.app, self.cap_of = app, cap_of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or 413; a body without a stated length is counted as it comes."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        cap = self.cap_of(scope["path"])
        said = f"That is more than {cap / 1e6:g} MB, the most that is taken here."
        stated = Headers(scope=scope).get("content-length")
        if stated is not None and (not (stated.isascii() and stated.isdigit()) or int(stated) > cap):
            await _refuse(scope, receive, send, 413, said)
            return
        taken = 0
        started = False

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > cap:
                raise _TooLargeError
            return message

        async def noted(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self.app(scope, counted, noted)
        except _TooLargeError:
            if started:
                raise
            await _refuse(scope, receive, send, 413, said)


class _TooLargeError(Exception):
    """A body outgrew its cap while it came."""


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, said: str) -> None:
    if scope["type"] == "websocket":
        await WebSocketClose(code=1008, reason=said)(scope, receive, send)
        return
    answer: Response = PlainTextResponse(said + "\n", status_code=status)
    for name, value in HEADERS:
        answer.headers[name] = value
    await answer(scope, receive, send)
