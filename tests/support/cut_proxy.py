"""A way to a PostgreSQL server that can be cut where a test wants it: between an act's end and its answer."""

from __future__ import annotations

import socket
import tempfile
import threading
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from collections.abc import Iterator

#: At the next COMMIT: cut before it reaches the server, when it has been done, while the server does not have
#: it yet but will; say nothing more.
Cut = Literal["none", "before", "after", "late", "silent"]
_SOCKET: Final = ".s.PGSQL.5432"
_LATE_S: Final = 0.4


class CutProxy:
    """Passes everything on until it is told to cut; then refuses for a while, or for good."""

    def __init__(self, folder: Path, server: Path) -> None:
        self.folder, self.server = folder, server
        self.cut: Cut = "none"
        #: For so long after a cut nobody is let in, s.
        self.away_s = 0.0
        #: Lets people in and says nothing to them.
        self.mute = False
        self.cuts = 0
        self._back_s = 0.0
        self._door = socket.socket(socket.AF_UNIX)
        self._door.bind(str(folder / _SOCKET))
        self._door.listen(16)
        threading.Thread(target=self._let_in, daemon=True).start()

    def url(self, direct: str) -> str:
        """A database's URL by this way instead of the direct one."""
        found = urlsplit(direct)
        return f"postgresql://{found.netloc}{found.path}?host={self.folder}"

    def close(self) -> None:
        """Nobody is let in any more."""
        self._door.close()

    def _let_in(self) -> None:
        while True:
            try:
                client, _ = self._door.accept()
            except OSError:
                return
            if time.monotonic() < self._back_s:
                client.close()
                continue
            threading.Thread(target=self._pass_on, args=(client,), daemon=True).start()

    def _pass_on(self, client: socket.socket) -> None:
        if self.mute:
            with suppress(OSError):
                while client.recv(65536):
                    pass
            client.close()
            return
        server = socket.socket(socket.AF_UNIX)
        server.connect(str(self.server / _SOCKET))
        threading.Thread(target=self._answers, args=(server, client), daemon=True).start()
        with suppress(OSError):
            while data := client.recv(65536):
                if b"COMMIT" in data and self.cut != "none":
                    self._cut(client, server, data)
                    return
                server.sendall(data)
        _end(server)

    def _answers(self, server: socket.socket, client: socket.socket) -> None:
        with suppress(OSError):
            while data := server.recv(65536):
                client.sendall(data)
        _end(client)

    def _cut(self, client: socket.socket, server: socket.socket, data: bytes) -> None:
        how, self.cut = self.cut, "none"
        self.cuts += 1
        self._back_s = time.monotonic() + self.away_s
        if how == "silent":
            with suppress(OSError):
                while client.recv(65536):
                    pass
            _end(server)
            return
        # What the server answers from now on reaches nobody.
        _end(client)
        if how == "late":
            time.sleep(_LATE_S)
        if how != "before":
            with suppress(OSError):
                server.sendall(data)
                time.sleep(0.05)
        _end(server)


def _end(one: socket.socket) -> None:
    with suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()


@contextmanager
def cut_proxy(server: Path) -> Iterator[CutProxy]:
    """One before the server whose socket lies in that folder."""
    # A socket's path must be short: not below the folder of a test.
    with tempfile.TemporaryDirectory(prefix="cut", dir="/tmp") as folder:
        proxy = CutProxy(Path(folder), server)
        try:
            yield proxy
        finally:
            proxy.close()
