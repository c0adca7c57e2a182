"""The folder of recordings: each named by the SHA-256 of what is in it, so each can be looked at for damage.

Guarded by `tests/faults/test_recordings_kept.py` and `tests/faults/test_paths_from_data.py`.
"""

from __future__ import annotations

import re
import secrets
from contextlib import suppress
from hashlib import file_digest
from typing import TYPE_CHECKING, Final

from canebench.base.disk.inside import inside
from canebench.base.disk.owner_only import make_folder, narrow
from canebench.base.disk.synced import sync
from canebench.store.database import none_kept
from canebench.store.records import SHA256

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

ENDING: Final = ".flac"


def recording_path(folder: Path, sha256: str) -> Path | None:
    """Where the recording of a digest lies, there or not; None for what is no digest and so names none."""
    return inside(folder, sha256 + ENDING) if re.fullmatch(SHA256, sha256) else None


def recordings_in(folder: Path) -> list[Path]:
    """Those that are kept in a folder, which need not be there; not those on their way in."""
    return sorted(
        path for path in folder.glob(f"*{ENDING}") if path.is_file() and not path.name.startswith(".")
    )


def is_whole(path: Path) -> bool:
    """Whether a recording is there and is what its name says."""
    return path.is_file() and digest_of(path) == path.stem


def keep_recording(folder: Path, write: Callable[[Path], None]) -> str:
    """Keep the recording that `write` writes to the path it is given; its SHA-256, when it is on the disk.

    Two at once have a name each until they have their own; an equal one is kept once.

    Raises
    ------
    LedgerError
        It cannot be there; nothing is left of it.
    """
    try:
        return _kept(folder, write)
    except OSError as error:
        raise none_kept("recordings", folder, error) from error


def _kept(folder: Path, write: Callable[[Path], None]) -> str:
    if not folder.is_dir():
        make_folder(folder)
        sync(folder.parent)
    beside = folder / f".incoming-{secrets.token_hex(8)}{ENDING}"
    try:
        write(beside)
        narrow(beside)
        sync(beside)
        digest = digest_of(beside)
        beside.replace(folder / f"{digest}{ENDING}")
    except BaseException:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    sync(folder)
    return digest


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()
