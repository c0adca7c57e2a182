"""Files and folders that only their owner may read, as we make them; what is there already stays as it is.

Guarded by `tests/faults/test_modes.py`.
"""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

FILE_MODE: Final = 0o600
FOLDER_MODE: Final = 0o700
_OTHERS: Final = 0o077


def make_folder(path: Path) -> None:
    """A folder, and those above it that are missing."""
    for folder in (*reversed(path.parents), path):
        if not folder.is_dir():
            # Another process may make it meanwhile.
            folder.mkdir(mode=FOLDER_MODE, exist_ok=True)


def make_file(path: Path) -> None:
    """A new and empty file; a `FileExistsError` where there is one."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE))


def copy_file(source: Path, target: Path) -> None:
    """A copy, at no moment wider."""
    make_file(target)
    shutil.copyfile(source, target)


def narrow(path: Path) -> None:
    """A file that something else made, for its owner alone; not every disk has modes to change."""
    with suppress(PermissionError):
        path.chmod(FILE_MODE)


def is_wider(path: Path) -> bool:
    """Whether others may read or write it, or look into it; never where a system has no such modes."""
    return os.name == "posix" and bool(path.stat().st_mode & _OTHERS)
