"""Every operation on files below a folder, written down as a process does them: its own, and SQLite's.

SQLite's are seen where its library calls the system (`support/sqlite_hooks`), the others where Python does.
What another library writes by itself is taken from the file when it is synced. Nothing is undone: for
processes that are thrown away.
"""

from __future__ import annotations

import builtins
import ctypes
import io
import os
import shutil
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from support.sqlite_hooks import watch_sqlite

if TYPE_CHECKING:
    from collections.abc import Callable

#: One operation: what, and its numbers, names and bytes. Files have numbers, as a disk's own have.
Operation = tuple[Any, ...]
_OPEN, _STAT = io.open, os.stat
_CREATES = os.O_CREAT
#: SQLite's own flags of what it opens (`sqlite3.h`): a rollback journal, one of several files, a log.
_JOURNALS = 0x00000800 | 0x00004000 | 0x00080000


def _path_of(descriptor: int) -> Path:
    return Path(f"/proc/self/fd/{descriptor}").readlink()


class Trace:
    """The operations so far, names relative to the folder."""

    def __init__(self, root: Path) -> None:
        self.root = f"{root}{os.sep}"
        self.operations: list[Operation] = []
        self._numbers: dict[int, int] = {}
        self._sqlite: dict[int, tuple[str, bool]] = {}
        self._live: dict[int, bytes] = {}
        _trace_python(self)
        watch_sqlite(self._sqlite_opened, self._sqlite_did)

    def told(self, what: object) -> None:
        """Something was acknowledged to whoever asked for it."""
        self.operations.append(("told", what))

    def name(self, path: object, folder: int | None = None) -> str | None:
        """A path's name in the folder; None elsewhere."""
        if not isinstance(path, str | bytes | os.PathLike):
            return None
        text = os.fsdecode(path)
        if folder is not None:
            text = f"{_path_of(folder)}{os.sep}{text}"
        whole = os.path.normpath(Path(text).absolute())
        if whole + os.sep == self.root:
            return "."
        return whole[len(self.root) :] if whole.startswith(self.root) else None

    def number(self, name: str) -> int:
        """The file's number by what the system calls it."""
        return self._numbers.setdefault(_STAT(self.root + name).st_ino, len(self._numbers))

    def made(self, name: str) -> None:
        """A new file of a name."""
        # The system may give a number again that a file had which is gone.
        self._numbers.pop(_STAT(self.root + name).st_ino, None)
        self.operations.append(("make", name, self._new(name)))

    def _new(self, name: str) -> int:
        number = 1 + max(self._numbers.values(), default=-1) + len(self.operations)
        self._numbers[_STAT(self.root + name).st_ino] = number
        return number

    def synced(self, descriptor: int) -> None:
        """A file or folder is on the disk for certain."""
        name = self.name(_path_of(descriptor))
        if name is None:
            return
        if Path(self.root + name).is_dir():
            self.operations.append(("sync folder", name))
            return
        number = self.number(name)
        self.operations += [
            ("whole", number, Path(self.root + name).read_bytes()),
            ("sync", number),
        ]

    def _sqlite_opened(self, path: str, file: int, flags: int, new: bool) -> None:
        name = self.name(path)
        if name is None:
            self._sqlite.pop(file, None)
            return
        if new:
            self.made(name)
        self._sqlite[file] = (name, new and bool(flags & _JOURNALS))

    def _sqlite_did(self, what: str, file: int, told: tuple[Any, ...]) -> None:
        if what == "delete":
            name = self.name(told[0])
            if name is not None:
                self.operations.append(("drop", name))
                if told[1]:
                    self.operations.append(("sync folder", str(Path(name).parent)))
            return
        if file not in self._sqlite:
            return
        name, new_journal = self._sqlite[file]
        number = self.number(name)
        if what == "write":
            self.operations.append(("write", number, told[2], ctypes.string_at(told[0], told[1])))
        elif what == "truncate":
            self.operations.append(("cut", number, told[0]))
        else:
            self.operations.append(("sync", number))
            if new_journal:
                # At the first sync of a new journal SQLite syncs its folder too.
                self.operations.append(("sync folder", str(Path(name).parent)))
                self._sqlite[file] = (name, False)


class _TracedFile(io.FileIO):
    """A file whose writes are written down."""

    trace: Trace
    number: int

    def write(self, data: Any) -> int:
        at = self.tell()
        count = super().write(data)
        self.trace.operations.append(("write", self.number, at, bytes(memoryview(data).cast("B")[:count])))
        return count

    def truncate(self, size: int | None = None) -> int:
        done = super().truncate(size)
        self.trace.operations.append(("cut", self.number, done))
        return done


def _traced_open(trace: Trace) -> Callable[..., IO[Any]]:
    def opened(file: Any, mode: str = "r", buffering: int = -1, *more: Any, **told: Any) -> IO[Any]:
        path = _path_of(file) if isinstance(file, int) else file
        name = trace.name(path)
        if name is None or not set(mode) & set("wxa+"):
            return _OPEN(file, mode, buffering, *more, **told)
        new = not os.path.lexists(trace.root + name)
        raw = _TracedFile(file, mode.replace("b", "").replace("t", ""), opener=told.pop("opener", None))
        if new:
            trace.made(name)
        raw.trace, raw.number = trace, trace.number(name)
        if "w" in mode and not new:
            trace.operations.append(("cut", raw.number, 0))
        if buffering == 0:
            return raw
        both = io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)
        return both if "b" in mode else io.TextIOWrapper(both, *more, **told)

    return opened


def _trace_python(trace: Trace) -> None:
    """From now on, in this process."""
    builtins.open = io.open = _traced_open(trace)  # type: ignore[assignment]
    # Copied by the kernel, nothing would be seen.
    shutil._USE_CP_SENDFILE = False  # type: ignore[attr-defined]
    real = {
        name: getattr(os, name) for name in ("open", "fsync", "rename", "link", "unlink", "mkdir", "rmdir")
    }

    def os_open(path: Any, flags: int, *more: Any, **told: Any) -> int:
        name = trace.name(path, told.get("dir_fd"))
        new = name is not None and bool(flags & _CREATES) and not os.path.lexists(trace.root + name)
        descriptor: int = real["open"](path, flags, *more, **told)
        if new and name is not None:
            trace.made(name)
        return descriptor

    def fsync(fd: Any) -> None:
        real["fsync"](fd)
        trace.synced(fd if isinstance(fd, int) else fd.fileno())

    def two(what: str, call: Callable[..., None]) -> Callable[..., None]:
        def done(source: Any, target: Any, **told: Any) -> None:
            names = trace.name(source), trace.name(target)
            call(source, target, **told)
            if None not in names:
                trace.operations.append((what, *names))

        return done

    def one(what: str, call: Callable[..., None]) -> Callable[..., None]:
        def done(path: Any, *more: Any, **told: Any) -> None:
            name = trace.name(path, told.get("dir_fd"))
            call(path, *more, **told)
            if name is not None:
                trace.operations.append((what, name))

        return done

    os.open, os.fsync = os_open, fsync
    os.rename, os.replace = two("move", real["rename"]), two("move", os.replace)
    os.link = two("link", real["link"])
    os.unlink = os.remove = one("drop", real["unlink"])
    os.mkdir, os.rmdir = one("make folder", real["mkdir"]), one("drop", real["rmdir"])
