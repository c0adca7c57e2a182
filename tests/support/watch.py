"""Witnesses for tests of confinement: who opened a file, who called a port."""

from __future__ import annotations

import ctypes
import os
import socket
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_IN_OPEN = 0x20


class Opens:
    """Counts how often a file was opened, by any process, through the kernel's inotify."""

    def __init__(self, path: Path) -> None:
        libc = ctypes.CDLL(None, use_errno=True)
        self._number = int(libc.inotify_init1(os.O_NONBLOCK))
        watch = int(libc.inotify_add_watch(self._number, os.fsencode(path), _IN_OPEN))
        assert self._number >= 0, os.strerror(ctypes.get_errno())
        assert watch >= 0, os.strerror(ctypes.get_errno())

    def seen(self) -> bool:
        """Whether the file was opened since the last question."""
        try:
            return bool(os.read(self._number, 4096))
        except BlockingIOError:
            return False

    def close(self) -> None:
        """Stop watching."""
        os.close(self._number)


@contextmanager
def watched(path: Path) -> Iterator[Opens]:
    """Watch `path` for being opened."""
    opens = Opens(path)
    try:
        yield opens
    finally:
        opens.close()


class Calls:
    """A port of this machine that hangs up on everyone and counts them."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self.count = 0
        self._thread = threading.Thread(target=self._answer, daemon=True)
        self._thread.start()

    def _answer(self) -> None:
        while True:
            caller, _ = self._server.accept()
            with caller:
                if caller.recv(1) == b"!":
                    return
                self.count += 1

    def close(self) -> None:
        """Hang up for good; all calls before are counted."""
        with socket.create_connection(("127.0.0.1", self.port)) as last:
            last.sendall(b"!")
        self._thread.join()
        self._server.close()


@contextmanager
def port() -> Iterator[Calls]:
    """A counting port; look at `count` after the block."""
    calls = Calls()
    try:
        yield calls
    finally:
        calls.close()
