"""A browser without scripts, for a bench that is served: it signs in, and a connection for each request."""

from __future__ import annotations

import http.client
import secrets
from typing import TYPE_CHECKING, Final
from urllib.parse import urlencode, urlsplit

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Nothing is waited for longer, s: past any limit of the bench.
_PATIENCE_S: Final = 1_200.0


class PlainBrowser:
    """Signed in by a link."""

    def __init__(self, link: str) -> None:
        self._host = urlsplit(link).netloc
        self.cookie = ""
        _, headers, _ = self.ask("GET", link[link.index("/enter") :])
        self.cookie = (headers.get("set-cookie") or "").partition(";")[0]

    def ask(
        self, method: str, path: str, form: Mapping[str, object] | None = None
    ) -> tuple[int, http.client.HTTPMessage, str]:
        """Status, headers and page; a form is sent as pages send theirs."""
        kind = None if form is None else "application/x-www-form-urlencoded"
        return self._asked(method, path, None if form is None else urlencode(form).encode(), kind)

    def send(
        self, path: str, name: str, file: bytes, **fields: str
    ) -> tuple[int, http.client.HTTPMessage, str]:
        """A form with a file."""
        mark = secrets.token_hex(16)
        parts = [
            f'--{mark}\r\nContent-Disposition: form-data; name="{field}"\r\n\r\n{value}\r\n'
            for field, value in fields.items()
        ]
        head = f'Content-Disposition: form-data; name="file"; filename="{name}"'
        begin = "".join([*parts, f"--{mark}\r\n{head}\r\n\r\n"]).encode()
        body = begin + file + f"\r\n--{mark}--\r\n".encode()
        return self._asked("POST", path, body, f"multipart/form-data; boundary={mark}")

    def twin(self) -> PlainBrowser:
        """Another tab of it."""
        made = object.__new__(PlainBrowser)
        made._host, made.cookie = self._host, self.cookie
        return made

    def _asked(
        self, method: str, path: str, body: bytes | None, kind: str | None
    ) -> tuple[int, http.client.HTTPMessage, str]:
        connection = http.client.HTTPConnection(self._host, timeout=_PATIENCE_S)
        try:
            headers = {"origin": f"http://{self._host}", "cookie": self.cookie}
            if kind is not None:
                headers["content-type"] = kind
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.headers, answer.read().decode(errors="replace")
        finally:
            connection.close()
