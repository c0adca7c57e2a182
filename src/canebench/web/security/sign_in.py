"""Signing in: a link that works once gives the browser a cookie that lasts as long as the server.

Guarded by `tests/web/test_guard.py`.
"""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from starlette.responses import PlainTextResponse, RedirectResponse

if TYPE_CHECKING:
    from starlette.requests import HTTPConnection, Request
    from starlette.responses import Response


class SignIn:
    """The links that are still good, and the browsers that have used one."""

    def __init__(self, port: int) -> None:
        # Browsers keep cookies by host, not by port: two benches on one machine must not mix theirs.
        self.cookie = f"canebench-{port}"
        self._links: set[str] = set()
        self._browsers: set[str] = set()

    def link(self) -> str:
        """The path of a new link."""
        key = secrets.token_urlsafe(32)
        self._links.add(key)
        return f"/enter?key={key}"

    def known(self, connection: HTTPConnection) -> bool:
        """Whether this browser has signed in."""
        given = connection.cookies.get(self.cookie, "")
        return any(secrets.compare_digest(given.encode(), one.encode()) for one in self._browsers)

    async def enter(self, request: Request) -> Response:
        """Take a link's key, once."""
        key = request.query_params.get("key", "")
        if key not in self._links:
            return PlainTextResponse(
                "This link was used before, or is not one of ours. Stop the bench and start it again "
                "for a new one: canebench serve\n",
                status_code=401,
            )
        self._links.discard(key)
        browser = secrets.token_urlsafe(32)
        self._browsers.add(browser)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(self.cookie, browser, httponly=True, samesite="strict", path="/")
        return answer
