"""The n-th operation on files of what a block runs fails: opening, writing, syncing, naming, removing, SQL.

What C code does by itself is not seen, but for SQL, which fails as a statement: for what lies under it there
is `support/power_cut_disk`.
"""

from __future__ import annotations

import builtins
import errno
import io
import os
import sqlite3
import sys
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final
from unittest.mock import patch

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

#: By turns, so that a count of failures meets each operation with each.
ERRORS: Final = (errno.ENOSPC, errno.EIO, errno.EACCES)
_SQL_NAMES: Final = {
    errno.ENOSPC: ("SQLITE_FULL", "database or disk is full"),
    errno.EIO: ("SQLITE_IOERR_WRITE", "disk I/O error"),
    errno.EACCES: ("SQLITE_CANTOPEN", "unable to open database file"),
}
_NAMED: Final = ("replace", "rename", "link", "unlink", "remove", "mkdir", "rmdir", "chmod")
_FLAGS: Final = os.O_WRONLY | os.O_RDWR
_REMOVING: Final = ("unlink", "remove", "rmdir")
_OPEN, _CONNECT = io.open, sqlite3.connect


class FailingFiles:
    """Counts operations below some folders; the one numbered `fails` (from 1) fails, once or from then on."""

    def __init__(self, roots: tuple[Path, ...], *, fails: int, number: int, lasting: bool = False) -> None:
        self.roots = tuple(f"{root}{os.sep}" for root in roots)
        self.fails, self.number, self.lasting = fails, number, lasting
        self.count = 0
        #: What failed first, None where nothing did.
        self.failed: str | None = None

    @property
    def may_leave(self) -> bool:
        """Whether what failed was taking away: then something is left."""
        return self.failed in _REMOVING or (self.lasting and self.failed is not None)

    def _fails(self, what: str) -> bool:
        self.count += 1
        if self.count == self.fails or (self.lasting and self.failed is not None):
            self.failed = self.failed or what
            return True
        return False

    def step(self, what: str) -> None:
        """One operation, which may fail."""
        if self._fails(what):
            raise OSError(self.number, os.strerror(self.number))

    def sql(self, statement: str) -> None:
        """One statement, which may fail."""
        if self._fails(f"sql {statement.split(maxsplit=1)[0]}"):
            name, said = _SQL_NAMES[self.number]
            error = sqlite3.OperationalError(said)
            error.sqlite_errorname = name
            raise error

    def ours(self, path: object) -> bool:
        """Whether a path lies where operations count."""
        return isinstance(path, str | os.PathLike) and os.path.abspath(path).startswith(self.roots)  # noqa: PTH100


class _FailingFile(io.FileIO):
    """A file whose writes count."""

    failing: FailingFiles

    def write(self, data: Any) -> int:
        self.failing.step("write")
        return super().write(data)


def _open(failing: FailingFiles) -> Callable[..., IO[Any]]:
    def opened(file: Any, mode: str = "r", buffering: int = -1, *more: Any, **told: Any) -> IO[Any]:
        if not (failing.ours(file) or isinstance(file, int)) or not set(mode) & set("wxa+"):
            return _OPEN(file, mode, buffering, *more, **told)
        failing.step("open")
        raw = _FailingFile(file, mode.replace("b", "").replace("t", ""), opener=told.pop("opener", None))
        raw.failing = failing
        if buffering == 0:
            return raw
        both = io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)
        return both if "b" in mode else io.TextIOWrapper(both, *more, **told)

    return opened


def _counted(failing: FailingFiles, name: str) -> Callable[..., Any]:
    real = getattr(os, name)

    def call(*args: Any, **told: Any) -> Any:
        if isinstance(args[0], int) or failing.ours(args[0]):
            failing.step(name)
        return real(*args, **told)

    return call


def _os_open(failing: FailingFiles) -> Callable[..., int]:
    real = os.open

    def call(path: Any, flags: int, *more: Any, **told: Any) -> int:
        if failing.ours(path) and (flags & _FLAGS or Path(path).is_dir()):
            failing.step("open")
        return real(path, flags, *more, **told)

    return call


def _connect(failing: FailingFiles) -> Callable[..., sqlite3.Connection]:
    class Failing(sqlite3.Connection):
        def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
            failing.sql(sql)
            return super().execute(sql, *values)

        def backup(self, target: sqlite3.Connection, **told: Any) -> None:
            failing.sql("backup")
            super().backup(target, **told)

    def connect(*args: Any, **told: Any) -> sqlite3.Connection:
        if not isinstance(args[0], Path):
            plain: sqlite3.Connection = _CONNECT(*args, **told)
            return plain
        failing.sql("connect")
        made: sqlite3.Connection = _CONNECT(*args, **{**told, "factory": Failing})
        return made

    return connect


@contextmanager
def failing_files(failing: FailingFiles) -> Iterator[FailingFiles]:
    """For as long as the block lasts. Files that were left open by a failure are no finding of their own."""
    with ExitStack() as stack:
        for owner, name, new in (
            (builtins, "open", _open(failing)),
            (io, "open", _open(failing)),
            (os, "open", _os_open(failing)),
            (sqlite3, "connect", _connect(failing)),
            *((os, name, _counted(failing, name)) for name in (*_NAMED, "fsync", "sendfile")),
        ):
            if owner is not os or hasattr(os, name):
                stack.enter_context(patch.object(owner, name, new))
        stack.enter_context(patch.object(sys, "unraisablehook", lambda _: None))
        yield failing
