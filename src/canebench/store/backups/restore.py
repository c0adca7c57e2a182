"""Back to a backup: made ready beside what is there, then swapped in one step; what was there is kept.

Guarded by `tests/store/test_backup.py` and `tests/faults/test_restore_kill.py`.
"""

from __future__ import annotations

import secrets
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from canebench.base.disk.owner_only import copy_file, make_folder
from canebench.base.disk.synced import sync
from canebench.store.backups.backup import fill
from canebench.store.backups.other_kind import as_file, as_rows
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.backups.swap import swap_in
from canebench.store.backups.verify import TAKES, told_of
from canebench.store.database import LedgerError
from canebench.store.migrate import revision_of
from canebench.store.recordings import is_whole, recordings_in
from canebench.store.schema import HEAD
from canebench.store.sqlite import Sqlite

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from canebench.store.database import Database


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What was done; `kept` is where the ledger from before lies, None where there was none.

    `amiss` is what was damaged already when the backup was made, once somebody has looked.
    """

    kept: Path | None
    recordings: int
    amiss: tuple[str, ...] = ()


def restore_backup(folder: Path, database: Database, takes: Path, *, at: str) -> Restored:
    """Put a verified backup in the place of a ledger, of either kind into either."""
    told = told_of(folder)
    if not isinstance(database, Sqlite):
        return _into_server(folder, told, database, takes, at=at)
    try:
        recordings = _restore_takes(folder / TAKES, takes)
        make_folder(database.path.parent)
        with as_file(folder, told, beside=database.path) as source:
            return Restored(kept=swap_in(source, database, at=at), recordings=recordings)
    except OSError as error:
        raise _cannot(folder, error) from error


def _into_server(
    folder: Path, told: Mapping[str, Any], database: Database, takes: Path, *, at: str
) -> Restored:
    revision = revision_of(database)
    # Rows of a file are brought to the newest revision on their way; those of a server stand as they were.
    theirs = HEAD if told["database"] == "sqlite" else told["revision"]
    if revision != theirs:
        raise LedgerError(
            f"backup {folder}: it is at revision {told['revision']}, this ledger at {revision or 'none'}. "
            "Use the canebench that made it, then migrate. Nothing was changed."
        )
    try:
        recordings = _restore_takes(folder / TAKES, takes)
        with as_rows(folder, told) as rows:
            kept = keep_snapshot(database, "before-restore", at=at)
            with database.write() as connection:
                fill(connection, rows)
    except OSError as error:
        raise _cannot(folder, error) from error
    return Restored(kept=kept, recordings=recordings)


def _cannot(folder: Path, error: OSError) -> LedgerError:
    why = error.strerror or type(error).__name__
    return LedgerError(
        f"backup {folder}: it cannot be put where the ledger is ({why}). "
        "The ledger is as it was; recordings that came back stay."
    )


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
        except BaseException:
            with suppress(OSError):
                beside.unlink(missing_ok=True)
            raise
    if wanted:
        sync(takes)
    return len(wanted)


def _is_wanted(path: Path, here: Path) -> bool:
    return not here.is_file() or (not is_whole(here) and is_whole(path))
