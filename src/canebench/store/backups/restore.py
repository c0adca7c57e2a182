"""Back to a backup: made ready beside what is there, then swapped in one step; what was there is kept.

Guarded by `tests/store/test_backup.py` and `tests/faults/test_restore_kill.py`.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from contextlib import suppress
from dataclasses import dataclass
from stat import S_IMODE
from typing import TYPE_CHECKING

from canebench.base.disk.owner_only import copy_file, make_folder
from canebench.base.disk.synced import sync
from canebench.store.backups.backup import fill
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.backups.verify import FILE, TAKES, told_of
from canebench.store.database import LedgerError
from canebench.store.migrate import revision_of
from canebench.store.recordings import is_whole, recordings_in
from canebench.store.sqlite import SIDES, Sqlite, connect

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.database import Database


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What was done; `kept` is where the ledger from before lies, None where there was none."""

    kept: Path | None
    recordings: int


def restore_backup(folder: Path, database: Database, takes: Path, *, at: str) -> Restored:
    """Put a verified backup in the place of a ledger."""
    told = told_of(folder)
    if told["database"] != database.dialect:
        raise LedgerError(
            f"backup {folder}: it is of {told['database']}, and this ledger is on {database.dialect}. "
            "Restore it into its own kind, then use canebench export and import. Nothing was changed."
        )
    recordings = _restore_takes(folder / TAKES, takes)
    if isinstance(database, Sqlite):
        return Restored(kept=_swap(folder / FILE, database, at), recordings=recordings)
    revision = revision_of(database)
    if revision != told["revision"]:
        raise LedgerError(
            f"backup {folder}: it is at revision {told['revision']}, this ledger at {revision or 'none'}. "
            "Use the canebench that made it, then migrate. Nothing was changed."
        )
    kept = keep_snapshot(database, "before-restore", at=at)
    with database.write() as connection:
        fill(connection, folder)
    return Restored(kept=kept, recordings=recordings)


def _restore_takes(source: Path, takes: Path) -> int:
    """Recordings that are missing come back, and those that are damaged where the backup's is whole."""
    wanted = [path for path in recordings_in(source) if _is_wanted(path, takes / path.name)]
    if wanted and not takes.is_dir():
        make_folder(takes)
        sync(takes.parent)
    for path in wanted:
        beside = takes / f".{path.name}.{secrets.token_hex(4)}"
        try:
            copy_file(path, beside)
            # Or a power cut may leave its name with nothing in it.
            sync(beside)
            beside.replace(takes / path.name)
        finally:
            beside.unlink(missing_ok=True)
    if wanted:
        sync(takes)
    return len(wanted)


def _is_wanted(path: Path, here: Path) -> bool:
    return not here.is_file() or (not is_whole(here) and is_whole(path))


def _swap(source: Path, database: Sqlite, at: str) -> Path | None:
    """The new file is whole and synced under another name before it takes the ledger's."""
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
        with _held(database):
            # A second name first, then the swap: at no moment is there neither.
            os.link(path, kept)
            ready.replace(path)
            for side in SIDES:
                path.with_name(path.name + side).unlink(missing_ok=True)
            sync(path.parent)
        return kept
    finally:
        ready.unlink(missing_ok=True)


class _held:  # noqa: N801 - reads as a word of the with statement
    """Nobody writes in the ledger, and no journal of it is left, until the end of the block."""

    def __init__(self, database: Sqlite) -> None:
        self.database = database

    def __enter__(self) -> None:
        try:
            # Opening recovers a ledger that was left in the middle of an act.
            self.raw = connect(self.database.path)
            self.raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self.raw.execute("BEGIN EXCLUSIVE")
        except (sqlite3.Error, LedgerError):
            # A damaged ledger is just what a backup is for: it is kept as it is.
            self.raw = sqlite3.connect(":memory:")

    def __exit__(self, *_: object) -> None:
        self.raw.close()


def _free_name(path: Path, at: str) -> Path:
    stamp = "".join(c for c in at[:19] if c.isalnum())
    for count in range(1, 1000):
        more = "" if count == 1 else f"-{count}"
        found = path.with_name(f"{path.stem}-before-restore-{stamp}{more}{path.suffix}")
        if not found.exists():
            return found
    raise LedgerError(f"There are a thousand ledgers from before restores beside {path}.")
