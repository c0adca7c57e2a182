"""Restores a backup and is gone, without a word, at its n-th touch of the disk."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import Any

from canebench.store.backups.restore import restore_backup
from canebench.store.sqlite import Sqlite

_TOUCHES = iter(range(int(sys.argv[4])))


def _counted(what: Any) -> Any:
    def call(*args: Any, **told: Any) -> Any:
        if next(_TOUCHES, None) is None:
            os._exit(9)
        return what(*args, **told)

    return call


def _refused(*_: object, **__: object) -> None:
    """As FAT answers."""
    raise PermissionError(1, "Operation not permitted")


def main() -> None:
    if "no-links" in sys.argv:
        os.link = _refused
    for owner, name in (
        (os, "link"),
        (shutil, "copyfileobj"),
        (os, "fsync"),
        (shutil, "copyfile"),
        (Path, "replace"),
        (Path, "rename"),
        (Path, "unlink"),
    ):
        setattr(owner, name, _counted(getattr(owner, name)))
    folder, ledger, takes = (Path(given) for given in sys.argv[1:4])
    restore_backup(folder, Sqlite(ledger), takes, at="2026-03-02T20:00:00.000Z")


if __name__ == "__main__":
    main()
