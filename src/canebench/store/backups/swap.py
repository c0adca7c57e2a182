"""A ledger's file in the place of another by one step: at no moment is there neither.

What was there is set aside as it is, however damaged: nothing of it has to be readable. Guarded by
`tests/store/test_backup.py`, `tests/faults/test_restore_kill.py` and `tests/faults/test_damaged_ledgers.py`.
"""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
from contextlib import ExitStack, contextmanager, suppress
from stat import S_IMODE
from typing import TYPE_CHECKING

from canebench.base.disk.owner_only import copy_file, make_file, make_folder
from canebench.base.disk.synced import sync
from canebench.store.database import LedgerError
from canebench.store.sqlite import SIDES, connect, text_of_a_file

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from canebench.store.sqlite import Sqlite


def swap_in(source: Path, database: Sqlite, *, at: str) -> Path | None:
    """A copy of `source` in the ledger's place; where that from before is kept, None where there was none.

    The new file is whole and synced under another name before it takes the ledger's.
    """
    path = database.path
    make_folder(path.parent)
    ready = path.with_name(f".{path.name}.{secrets.token_hex(6)}.restoring")
    try:
        copy_file(source, ready)
        sync(ready)
        if not path.exists():
            ready.rename(path)
            sync(path.parent)
            return None
        kept = _free_name(path, at)
        with suppress(PermissionError):
            # Whoever could read it can go on: a club may share it.
            ready.chmod(S_IMODE(path.stat().st_mode))
        with _held(database), _set_aside(path, kept):
            ready.replace(path)
        sync(path.parent)
        return kept
    finally:
        with suppress(OSError):
            ready.unlink(missing_ok=True)


@contextmanager
def _held(database: Sqlite) -> Iterator[None]:
    """Nobody writes in the ledger until the end of the block, and no act is left in the middle.

    A ledger too damaged for that is just what a backup is for: it is left as it is.
    """
    raw = None
    try:
        # Opening recovers a ledger that was left in the middle of an act.
        raw = connect(database.path)
        with text_of_a_file():
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            raw.execute("BEGIN EXCLUSIVE")
    except (sqlite3.Error, LedgerError) as error:
        if raw is not None:
            raw.close()
            raw = None
        if getattr(error, "sqlite_errorname", "").startswith("SQLITE_BUSY"):
            raise database.told(error) from error
    try:
        yield
    finally:
        if raw is not None:
            raw.close()


@contextmanager
def _set_aside(path: Path, kept: Path) -> Iterator[None]:
    """The file has its second name before the block, and its journals go with it; back if it fails."""
    before = path.stat().st_ino
    moved: list[tuple[Path, Path]] = []
    with ExitStack() as until_the_end:
        try:
            _name_twice(path, kept, until_the_end)
            # Before the swap: a journal of the old file would be played back into the new one.
            for side in (path.with_name(path.name + one) for one in SIDES):
                if side.exists() and side.stat().st_size and not side.name.endswith("-shm"):
                    other = side.with_name(side.name.replace(path.name, kept.name, 1))
                    side.rename(other)
                    moved.append((side, other))
                side.unlink(missing_ok=True)
            yield
        except BaseException:
            if not path.exists() or path.stat().st_ino == before:
                _put_back(path, kept, moved)
            raise


def _put_back(path: Path, kept: Path, moved: list[tuple[Path, Path]]) -> None:
    for side, other in moved:
        other.rename(side)
    if path.exists():
        kept.unlink(missing_ok=True)
    elif kept.exists():
        kept.rename(path)


def _name_twice(path: Path, kept: Path, until_the_end: ExitStack) -> None:
    try:
        os.link(path, kept)
    except OSError:
        # FAT has no second names. A copy; and where that cannot be, for a moment only the new name.
        try:
            _copy(path, kept, until_the_end)
        except OSError:
            kept.unlink(missing_ok=True)
            path.rename(kept)


def _copy(path: Path, kept: Path, until_the_end: ExitStack) -> None:
    """The file stays open until the end: closing it would end the lock on it (POSIX, fcntl)."""
    old = until_the_end.enter_context(path.open("rb"))
    make_file(kept)
    with kept.open("wb") as new:
        shutil.copyfileobj(old, new)
    sync(kept)
    with suppress(PermissionError):
        kept.chmod(S_IMODE(path.stat().st_mode))


def _free_name(path: Path, at: str) -> Path:
    stamp = "".join(c for c in at[:19] if c.isalnum())
    for count in range(1, 1000):
        more = "" if count == 1 else f"-{count}"
        found = path.with_name(f"{path.stem}-before-restore-{stamp}{more}{path.suffix}")
        if not found.exists():
            return found
    raise LedgerError(f"There are a thousand ledgers from before restores beside {path}.")
