"""Pages under our own policy that a browser's console must complain of, and one that it must not."""

from __future__ import annotations

import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, Final

from canebench.web.security.origin_checks import HEADERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_SCRIPT: Final = '<script src="{}.js"></script>'
#: What is in each page, and a part of what is said of it.
PAGES: Final[Mapping[str, tuple[str, str]]] = {
    "picture": ('<img src="http://127.0.0.1:9/elsewhere.png" alt="">', "elsewhere.png"),
    "inline": ('<script>document.title = "not ours"</script>', "script-src"),
    "throws": (_SCRIPT.format("throws"), "thrown here"),
    "rejects": (_SCRIPT.format("rejects"), "rejected here"),
    "says": (_SCRIPT.format("says"), "said here"),
    "warns": (_SCRIPT.format("warns"), "warned here"),
}
_SCRIPTS: Final[Mapping[str, str]] = {
    "throws": 'throw new Error("thrown here");',
    "rejects": 'Promise.reject(new Error("rejected here"));',
    "says": 'console.error("said here");',
    "warns": 'console.warn("warned here");',
    "plain": 'console.log("nothing amiss");',
}


class _Answers(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        """A page by its name, or its script."""
        name, _, script = self.path.strip("/").partition(".")
        inside = PAGES.get(name, (_SCRIPT.format("plain"), ""))[0]
        page = f"<!doctype html><html lang='en'><title>{name}</title><main>{inside}</main></html>"
        body = (_SCRIPTS.get(name, "") if script else page).encode()
        self.send_response(200)
        self.send_header("content-type", "text/javascript" if script else "text/html; charset=utf-8")
        self.send_header("content-length", str(len(body)))
        for key, value in HEADERS:
            self.send_header(key, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: Any) -> None:
        """Nothing is told of requests."""


@contextmanager
def complaining_pages() -> Iterator[str]:
    """Serve them; their address."""
    with ThreadingHTTPServer(("127.0.0.1", 0), _Answers) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
