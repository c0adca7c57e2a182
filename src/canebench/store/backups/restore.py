"""Back to a backup: made ready beside what is there, then swapped in one step; what was there is kept.

Guarded by `tests/store/test_backup.py` and `tests/faults/test_restore_kill.py`.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.disk.owner_only import copy_file, make_folder
from canebench.base.disk.synced import sync
from canebench.store.backups.backup import fill
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.backups.swap import swap_in
from canebench.store.backups.verify import FILE, TAKES, told_of
from canebench.store.database import LedgerError
from canebench.store.migrate import revision_of
from canebench.store.recordings import is_whole, recordings_in
from canebench.store.sqlite import Sqlite

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
    try:
        recordings = _restore_takes(folder / TAKES, takes)
        if isinstance(database, Sqlite):
            return Restored(kept=swap_in(folder / FILE, database, at=at), recordings=recordings)
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise LedgerError(
            f"backup {folder}: it cannot be put where the ledger is ({why}). "
            "The ledger is as it was; recordings that came back stay."
        ) from error
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
