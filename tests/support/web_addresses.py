"""Every address of the page with something in its places, made from the route list."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from starlette.routing import Mount, Route, WebSocketRoute

from canebench.web.app import routes

if TYPE_CHECKING:
    from canebench.web.security.sign_in import SignIn

#: Reading these does not need a browser that has signed in.
OPEN: Final = ("/enter", "/static/")


def addresses(entry: SignIn, *, kind: str) -> list[tuple[str, str]]:
    """(method, path) of all routes; `kind` is "http" or "websocket". Places hold 1, or a letter."""
    found = []
    for route in routes(entry):
        path = _filled(getattr(route, "path", ""))
        if isinstance(route, Route) and kind == "http":
            found += [(method, path) for method in sorted(route.methods or ()) if method != "HEAD"]
        if isinstance(route, Mount) and kind == "http":
            found.append(("GET", f"{path}/mark.svg"))
        if isinstance(route, WebSocketRoute) and kind == "websocket":
            found.append(("GET", path))
    return found


def _filled(path: str) -> str:
    return re.sub(r"\{[^}:]+\}", "a", re.sub(r"\{[^}]+:int\}", "1", path))
