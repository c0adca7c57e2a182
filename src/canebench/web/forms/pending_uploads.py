"""Files that were looked over and wait to be brought in: a few, for as long as the server runs.

Guarded by `tests/web/test_exchange.py`.
"""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
from pathlib import Path, PurePath
from typing import BinaryIO, Final

from canebench.base.disk.inside import inside
from canebench.base.errors import NotFoundError

_MOST: Final = 8
_NAME: Final = re.compile(r"[0-9a-f]{32}")


class PendingUploads:
    """A folder of its own for each file, under a name that cannot be guessed."""

    def __init__(self) -> None:
        self._folder: Path | None = None

    def keep(self, name: str, source: BinaryIO) -> str:
        """Keep a file; the oldest gives way."""
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="canebench-waiting-"))
        kept = sorted(self._folder.iterdir(), key=lambda path: path.stat().st_mtime_ns)
        for old in kept[: max(0, len(kept) - _MOST + 1)]:
            shutil.rmtree(old, ignore_errors=True)
        token = secrets.token_hex(16)
        own = PurePath(name.replace("\\", "/")).name[-80:]
        safe = "".join(one if one.isalnum() or one in "._-" else "_" for one in own).lstrip(".") or "file"
        own_folder = inside(self._folder, token)
        own_folder.mkdir()
        with inside(own_folder, safe).open("wb") as file:
            shutil.copyfileobj(source, file)
        return token

    def path(self, token: str) -> Path:
        """The file of a token."""
        known = self._folder is not None and _NAME.fullmatch(token)
        folder = inside(self._folder, token) if self._folder is not None and known else None
        found = list(folder.iterdir()) if folder is not None and folder.is_dir() else []
        if not found:
            raise NotFoundError("That file does not wait here any more: choose it again.")
        return found[0]

    def drop(self, token: str) -> None:
        """It is not needed any more."""
        if self._folder is not None and _NAME.fullmatch(token):
            shutil.rmtree(inside(self._folder, token), ignore_errors=True)

    def close(self) -> None:
        """Leave nothing behind."""
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
