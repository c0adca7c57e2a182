"""Signing in: a link that works once gives the browser a cookie that lasts as long as the server.

Guarded by `tests/web/test_guard.py`.
"""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

if TYPE_CHECKING:
    from starlette.requests import HTTPConnection, Request

#: A browser led here by a page of another origin (a file) keeps our cookie from what it is sent on to; a page
#: of our own may go on.
_GO_ON = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0;url=/">'
    '<title>The bench</title><p><a href="/">To the bench</a></p></html>'
)


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
        """Take a link's key, once; a HEAD only looks (a proxy, a preview) and uses nothing up."""
        if request.method == "HEAD":
            return Response(status_code=204)
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
        foreign = request.headers.get("sec-fetch-site") == "cross-site"
        answer = HTMLResponse(_GO_ON) if foreign else RedirectResponse("/", status_code=303)
        answer.set_cookie(self.cookie, browser, httponly=True, samesite="strict", path="/")
        return answer
