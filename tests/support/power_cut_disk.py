"""A disk in memory whose power can be cut: what was not synced is kept, lost or torn by chance.

SQLite writes to it through apsw. What a cut may do is what file systems promise no more than: of writes since
a file's last sync, every sector of 512 bytes is there or not, each by itself (an older write over a newer one
looks the same as the newer one lost); a file's new length may be there without its content, which is then
anything; a file made or deleted is so for certain only when its folder has been synced, which SQLite asks for
at the first sync of a new journal and, with `synchronous=EXTRA`, with a deletion.
"""

from __future__ import annotations

from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Any, Final

import apsw

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Iterator, Sequence
    from contextlib import AbstractContextManager

    from canebench.store.database import Connection, LedgerError
    from canebench.store.tables import Row, Value

_TEAR: Final = 512
_NUMBERS = count(1)


@dataclass(frozen=True, slots=True)
class Write:
    """Bytes that were written at a place, not yet for certain."""

    offset: int
    data: bytes


class Disk:
    """Files by name: as programs see them, and as they are for certain.

    `after_step` is called after every write, sync, cutting short, making and deleting.
    """

    def __init__(self, files: dict[str, bytes]) -> None:
        self.live = {name: bytearray(content) for name, content in files.items()}
        self.certain = {name: bytes(content) for name, content in files.items()}
        #: Since the last sync of the file: writes, and new lengths.
        self.pending: dict[str, list[Write | int]] = defaultdict(list)
        #: Names whose making or deleting is not certain yet, and the files that had them before.
        self.unsettled: set[str] = set()
        self._former: dict[str, tuple[bytes, list[Write | int]]] = {}
        #: What was done since anything was last synced, in order, and the files as they were then.
        self._since: list[tuple[str, Write | int | None]] = []
        self._then = {name: bytes(content) for name, content in files.items()}
        self.after_step: Callable[[], None] = lambda: None
        #: Asked before so many bytes are written; it may refuse by raising.
        self.before_write: Callable[[int], None] = lambda _: None

    def make(self, name: str) -> None:
        """A new file, which may not be found after a cut."""
        self.before_write(0)
        self.live[name] = bytearray()
        self._since.append((name, 0))
        self.unsettled.add(name)
        self.after_step()

    def write(self, name: str, offset: int, data: bytes) -> None:
        """Some bytes."""
        self.before_write(len(data))
        put(self.live[name], offset, data)
        self.pending[name].append(Write(offset, data))
        self._since.append((name, Write(offset, data)))
        self.after_step()

    def cut_short(self, name: str, size: int) -> None:
        """A new length."""
        resize(self.live[name], size)
        self.pending[name].append(size)
        self._since.append((name, size))
        self.after_step()

    def sync(self, name: str) -> None:
        """A file's content; for a new file, its folder too."""
        self.certain[name] = bytes(self.live[name])
        self.pending[name] = []
        if name in self.unsettled:
            self.sync_folder()
        self._settle()
        self.after_step()

    def sync_folder(self) -> None:
        """What was made or deleted is so for certain."""
        self.unsettled.clear()
        self._former.clear()

    def _settle(self) -> None:
        self._since.clear()
        self._then = {name: bytes(content) for name, content in self.live.items()}

    def delete(self, name: str, *, synced: bool) -> None:
        """A file less, which may be back after a cut unless its folder is synced at once."""
        del self.live[name]
        self._since.append((name, None))
        if name not in self.unsettled:
            self._former[name] = (self.certain.pop(name), self.pending.pop(name, []))
        self.certain.pop(name, None)
        self.pending.pop(name, None)
        self.unsettled.add(name)
        if synced:
            self.sync_folder()
            self._settle()
        self.after_step()

    def after_an_ordered_cut(self, chance: random.Random) -> dict[str, bytes]:
        """What is found on a disk that does all in its order, and with a sync whatever came before it."""
        found = {name: bytearray(content) for name, content in self._then.items()}
        for name, step in self._since[: chance.randint(0, len(self._since))]:
            if step is None:
                del found[name]
            elif isinstance(step, int):
                resize(found.setdefault(name, bytearray()), step)
            else:
                put(found[name], step.offset, step.data)
        return {name: bytes(content) for name, content in found.items()}

    def after_a_cut(self, chance: random.Random) -> dict[str, bytes]:
        """What is found when the power is back."""
        keep = chance.choice([0.0, 0.1, 0.5, 0.9, 1.0])
        found = {}
        for name in sorted({*self.live, *self._former}):
            certain, pending = self.certain.get(name, b""), self.pending.get(name, [])
            if name in self.unsettled and (name not in self.live or chance.random() >= keep):
                if name not in self._former or (name not in self.live and chance.random() < keep):
                    continue
                certain, pending = self._former[name]
            content = bytearray(certain)
            for step in pending:
                perhaps(content, step, keep, chance)
            found[name] = bytes(content)
        return found


def perhaps(content: bytearray, step: Write | int, keep: float, chance: random.Random) -> None:
    if isinstance(step, int):
        if chance.random() < keep:
            resize(content, step)
        return
    end = step.offset + len(step.data)
    if end > len(content) and chance.random() < 0.3:
        # The length arrived before the content.
        content.extend(chance.randbytes(end - len(content)))
    for start in range(step.offset - step.offset % _TEAR, end, _TEAR):
        if chance.random() < keep:
            first, last = max(start, step.offset), min(start + _TEAR, end)
            put(content, first, step.data[first - step.offset : last - step.offset])


def put(content: bytearray, offset: int, data: bytes) -> None:
    if offset > len(content):
        content.extend(bytes(offset - len(content)))
    content[offset : offset + len(data)] = data


def resize(content: bytearray, size: int) -> None:
    if size < len(content):
        del content[size:]
    else:
        content.extend(bytes(size - len(content)))


class _File:
    """A file that SQLite has open; one without a name is for its own passing use."""

    def __init__(self, disk: Disk, name: str) -> None:
        self.disk, self.name = disk, name

    def xRead(self, amount: int, offset: int) -> bytes:  # noqa: N802
        return bytes(self.disk.live[self.name][offset : offset + amount])

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802
        self.disk.write(self.name, offset, bytes(data))

    def xTruncate(self, newsize: int) -> None:  # noqa: N802
        self.disk.cut_short(self.name, newsize)

    def xSync(self, flags: int) -> None:  # noqa: N802, ARG002
        self.disk.sync(self.name)

    def xFileSize(self) -> int:  # noqa: N802
        return len(self.disk.live[self.name])

    def xLock(self, level: int) -> None:  # noqa: N802
        """There is only one who asks."""

    def xUnlock(self, level: int) -> None:  # noqa: N802
        """There is only one who asks."""

    def xCheckReservedLock(self) -> bool:  # noqa: N802
        return False

    def xFileControl(self, op: int, pointer: int) -> bool:  # noqa: N802, ARG002
        return False

    def xSectorSize(self) -> int:  # noqa: N802
        return 4096

    def xDeviceCharacteristics(self) -> int:  # noqa: N802
        """What SQLite's own says on Linux: a write leaves the bytes beside it alone."""
        return apsw.SQLITE_IOCAP_POWERSAFE_OVERWRITE

    def xClose(self) -> None:  # noqa: N802
        """Nothing is kept open."""


class _Vfs(apsw.VFS):
    def __init__(self, name: str, disk: Disk) -> None:
        self.disk = disk
        super().__init__(name, "")

    def xOpen(self, name: str | apsw.URIFilename | None, flags: list[int]) -> _File:  # type: ignore[override]  # noqa: N802
        flags[1] = flags[0]
        path = f"passing {next(_NUMBERS)}" if name is None else str(name)
        if isinstance(name, apsw.URIFilename):
            path = name.filename()
        if path not in self.disk.live:
            self.disk.make(path)
        return _File(self.disk, path)

    def xDelete(self, filename: str, syncdir: bool) -> None:  # noqa: N802
        if filename in self.disk.live:
            self.disk.delete(filename, synced=syncdir)

    def xAccess(self, pathname: str, flags: int) -> bool:  # noqa: N802, ARG002
        return pathname in self.disk.live

    def xFullPathname(self, name: str) -> str:  # noqa: N802
        return name


@dataclass(frozen=True, slots=True)
class _ApswConnection:
    raw: apsw.Connection

    def rows(self, sql: str, values: Sequence[Value] = ()) -> list[Row]:
        cursor = self.raw.execute(sql, tuple(values))
        try:
            names = [one[0] for one in cursor.get_description()]
        except apsw.ExecutionCompleteError:
            return []
        return [dict(zip(names, row, strict=True)) for row in cursor]

    def tuples(self, sql: str, values: Sequence[Value] = ()) -> list[tuple[Any, ...]]:
        return list(self.raw.execute(sql, tuple(values)))

    def run(self, sql: str, values: Sequence[Value] = ()) -> int:
        self.raw.execute(sql, tuple(values))
        return self.raw.changes()


class DiskDatabase:
    """The ledger's place on such a disk: what `database.Sqlite` does, through apsw."""

    dialect = "sqlite"

    def __init__(self, disk: Disk, name: str, settings: Sequence[str], *, keep_open: bool = False) -> None:
        self.name, self.settings, self.keep_open = name, settings, keep_open
        self._vfs_name = f"disk{next(_NUMBERS)}"
        self._vfs = _Vfs(self._vfs_name, disk)
        self._open: apsw.Connection | None = None

    @contextmanager
    def _opened(self) -> Iterator[apsw.Connection]:
        raw = self._open or apsw.Connection(self.name, vfs=self._vfs_name)
        if raw is not self._open:
            for setting in self.settings:
                raw.execute(setting)
        if self.keep_open:
            self._open = raw
        try:
            yield raw
        finally:
            if not self.keep_open:
                raw.close()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """As `database.Sqlite` does."""
        with self._opened() as raw:
            raw.execute("BEGIN")
            try:
                yield _ApswConnection(raw)
            finally:
                raw.execute("ROLLBACK")

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """As `database.Sqlite` does."""
        with self._opened() as raw:
            raw.execute("BEGIN IMMEDIATE")
            try:
                yield _ApswConnection(raw)
                raw.execute("COMMIT")
            except BaseException:
                if raw.in_transaction:
                    raw.execute("ROLLBACK")
                raise

    def alter(self) -> AbstractContextManager[Connection]:
        """Nothing migrates here."""
        return self.write()

    def told(self, error: BaseException) -> LedgerError:
        """Nothing is told here."""
        raise error
