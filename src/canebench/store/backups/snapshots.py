"""Snapshots: backups of the rows alone, taken by themselves before what changes much; the newest ten stay.

Recordings are left out: nothing ever changes or removes one. Guarded by `tests/store/test_backup.py`.
"""

from __future__ import annotations

import re
import secrets
import shutil
from typing import TYPE_CHECKING, Final

from canebench.base.disk.owner_only import make_folder
from canebench.store.backups.backup import write_backup
from canebench.store.backups.left_over import left_parts, sweep
from canebench.store.database import none_kept
from canebench.store.sqlite import Sqlite

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.database import Database

KEPT: Final = 10
_NAME: Final = re.compile(r"\d{8}T\d{6}-[0-9a-f]{6}-[a-z-]+")


def snapshots_folder(database: Database) -> Path:
    """Beside a ledger's file; with the user's own data for a server's."""
    if isinstance(database, Sqlite):
        return database.path.parent / "snapshots"
    from platformdirs import user_data_path  # noqa: PLC0415 - only for a server

    return user_data_path("canebench") / "snapshots"


def keep_snapshot(database: Database, why: str, *, at: str) -> Path:
    """Keep a snapshot now; `why` is in lower-case letters and hyphens."""
    folder = snapshots_folder(database)
    try:
        make_folder(folder)
    except OSError as error:
        raise none_kept("snapshots", folder, error) from error
    sweep(left_parts(folder))
    # Two processes may want one in the same second.
    path = folder / f"{re.sub('[^0-9T]', '', at[:19])}-{secrets.token_hex(3)}-{why}"
    write_backup(database, None, path, at=at)
    for old in snapshots(database)[KEPT:]:
        shutil.rmtree(old, ignore_errors=True)
    return path


def snapshots(database: Database) -> list[Path]:
    """Those that are kept, newest first."""
    folder = snapshots_folder(database)
    if not folder.is_dir():
        return []
    found = [path for path in folder.iterdir() if path.is_dir() and _NAME.fullmatch(path.name)]
    return sorted(found, key=lambda path: (path.stat().st_mtime_ns, path.name), reverse=True)
