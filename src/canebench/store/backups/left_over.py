"""What a killed command leaves: snapshots, backups, restores and recordings on their way to their names.

`doctor` names it; the next snapshot, backup or restore and `serve` sweep it. Guarded by
`tests/faults/test_left_over.py`.
"""

from __future__ import annotations

import re
import shutil
from contextlib import suppress
from typing import TYPE_CHECKING, Final

from canebench.base.disk.in_the_making import is_left
from canebench.store.sqlite import Sqlite

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.database import Database

#: A backup or snapshot: `.name.digits.part`.
_PART: Final = re.compile(r"\..+\.[0-9a-f]{12}\.part")
#: A recording on its way in (`keep_recording`, and the encoder beside it), or back out of a backup.
_RECORDING: Final = re.compile(
    r"\.?\.incoming(-[0-9a-f]{16})?\.flac(\.[0-9a-f]{8}\.part)?|\.[0-9a-f]{64}\.flac\.[0-9a-f]{8}"
)


def left_over(database: Database, snapshots: Path, takes: Path) -> list[Path]:
    """Everything that is left half made beside a ledger, by name; nothing that is being made."""
    found = [*_like(snapshots, _PART), *_like(takes, _RECORDING)]
    if isinstance(database, Sqlite):
        name = re.escape(database.path.name)
        restoring = re.compile(rf"\.{name}\.([0-9a-f]{{12}}\.restoring|[a-z0-9_]{{8}})")
        found += _like(database.path.parent, restoring)
    return sorted(found)


def left_parts(folder: Path) -> list[Path]:
    """Backups that were never finished, in the folder where they were to be."""
    return _like(folder, _PART)


def sweep(found: list[Path]) -> None:
    """Away with what is left; what cannot go stays."""
    for path in found:
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with suppress(OSError):
                path.unlink()


def size_of(path: Path) -> int:
    """Bytes of a file, or of all in a folder."""
    return sum(one.stat().st_size for one in (path, *path.rglob("*")) if one.is_file())


def _like(folder: Path, name: re.Pattern[str]) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if name.fullmatch(path.name) and is_left(path)]
    except OSError:
        return []
