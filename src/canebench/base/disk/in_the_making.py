"""Folders that are being made, and such as a killed program left half made.

A lock on the folder ends with the program that holds it, however that ended; where a system has none, a
folder in which nothing was written for an hour is taken for left. Guarded by
`tests/faults/test_left_over.py`.
"""

from __future__ import annotations

import os
import time
from contextlib import contextmanager, suppress
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: Not on Windows.
_FCNTL: Final[Any] = import_module("fcntl") if find_spec("fcntl") else None
#: Between making a folder and locking it, s.
_BARELY_S: Final = 5.0
_LONG_S: Final = 3_600.0


@contextmanager
def in_the_making(folder: Path) -> Iterator[None]:
    """A folder that is there already is told to be in use, for as long as the block lasts."""
    if _FCNTL is None:
        yield
        return
    place = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):
            # Not every disk has locks; then its age tells.
            _FCNTL.flock(place, _FCNTL.LOCK_EX | _FCNTL.LOCK_NB)
        yield
    finally:
        os.close(place)


def is_left(path: Path) -> bool:
    """Whether a file or folder that was on its way to its name is on it no more."""
    try:
        age_s = time.time() - _last_written(path)
        if _FCNTL is None or not path.is_dir():
            return age_s > _LONG_S
        place = os.open(path, os.O_RDONLY)
    except OSError:
        return False
    try:
        _FCNTL.flock(place, _FCNTL.LOCK_EX | _FCNTL.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return age_s > _LONG_S
    else:
        return age_s > _BARELY_S
    finally:
        os.close(place)


def _last_written(path: Path) -> float:
    return max(one.stat().st_mtime for one in (path, *path.rglob("*")))
