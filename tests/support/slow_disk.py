"""A disk whose every write, sync, cutting short and deleting takes its time, for the rest of this process.

The library of SQLite that Python itself uses opens its files through tables of functions (its documentation:
"The OS Interface or VFS"; `sqlite3_vfs` and `sqlite3_io_methods` of `sqlite3.h`). Here the entries that write
are replaced by ones that wait and go on to the old: so the locks, the busy handler and all of the product's
own code are as ever. `os.fsync` waits too. Nothing is undone: for processes that are thrown away.
"""

from __future__ import annotations

import _sqlite3
import ctypes
import os
import random
import sys
import threading
import time
from ctypes import CFUNCTYPE, POINTER, Structure, c_char_p, c_int, c_int64, c_void_p
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

#: Where SQLite's file functions stand in their table, by what they take after the file.
_WRITING: Final = {
    3: CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64),  # xWrite
    4: CFUNCTYPE(c_int, c_void_p, c_int64),  # xTruncate
    5: CFUNCTYPE(c_int, c_void_p, c_int),  # xSync
}
#: Functions of a file by the version of their table; the first entry is the version.
_SIZES: Final = {1: 13, 2: 17, 3: 19}
#: Names pass as they are: SQLite keeps the pointer to a file's own.
_OPEN: Final = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, c_void_p)
_DELETE: Final = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int)


class _Vfs(Structure):
    """`sqlite3_vfs` as far as it is needed."""

    _fields_ = (
        ("version", c_int),
        ("file_size", c_int),
        ("longest_path", c_int),
        ("next", c_void_p),
        ("name", c_char_p),
        ("data", c_void_p),
        ("open", c_void_p),
        ("delete", c_void_p),
    )


class Waits:
    """So many seconds at least and at most, by a seed; from several threads at once."""

    def __init__(self, least_s: float, most_s: float, seed: int) -> None:
        self.least_s, self.most_s = least_s, most_s
        self._chance = random.Random(seed)  # noqa: S311 - delays, not secrets
        self._lock = threading.Lock()
        #: All that was waited for so far, s.
        self.taken_s = 0.0

    def __call__(self) -> None:
        """Wait once."""
        with self._lock:
            wait_s = self._chance.uniform(self.least_s, self.most_s)
            self.taken_s += wait_s
        time.sleep(wait_s)


#: What C holds pointers to must stay.
_KEPT: list[Any] = []


def finding_support() -> dict[str, str]:
    """The environment of a child that is to find this module as its parent does."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}


def make_disk_slow(least_s: float, most_s: float, *, seed: int) -> Waits:
    """From now on, in this process; each operation takes between so many seconds more."""
    waits = Waits(least_s, most_s, seed)
    _slow_sqlite(waits)
    fsync = os.fsync

    def slow_fsync(fd: Any) -> None:
        waits()
        fsync(fd)

    os.fsync = slow_fsync
    return waits


def _slow_sqlite(waits: Callable[[], None]) -> None:
    library = ctypes.CDLL(getattr(_sqlite3, "__file__", None))
    library.sqlite3_initialize()
    library.sqlite3_vfs_find.restype = POINTER(_Vfs)
    vfs = library.sqlite3_vfs_find(None).contents
    old_open, old_delete = _OPEN(vfs.open), _DELETE(vfs.delete)
    slowed: dict[int, Any] = {}

    def slow_open(itself: int, name: int | None, file: int, flags: int, told: int | None) -> int:
        result: int = old_open(itself, name, file, flags, told)
        # The first thing in a file is its table of functions.
        first = c_void_p.from_address(file)
        if result == 0 and first.value:
            if first.value not in slowed:
                slowed[first.value] = _slowed(first.value, waits)
            first.value = ctypes.addressof(slowed[first.value])
        return result

    def slow_delete(itself: int, name: int, synced: int) -> int:
        waits()
        done: int = old_delete(itself, name, synced)
        return done

    new = (_OPEN(slow_open), _DELETE(slow_delete))
    _KEPT.extend((*new, slowed))
    vfs.open, vfs.delete = (ctypes.cast(one, c_void_p).value for one in new)


def _slowed(table: int, waits: Callable[[], None]) -> Any:
    """A copy of a table of functions of which those that write wait first."""
    size = _SIZES[min(c_int.from_address(table).value, 3)]
    copy = (c_void_p * size).from_buffer_copy((c_void_p * size).from_address(table))
    for at, kind in _WRITING.items():
        new = kind(_after(waits, kind(copy[at] or 0)))
        _KEPT.append(new)
        copy[at] = ctypes.cast(new, c_void_p).value
    return copy


def _after(waits: Callable[[], None], old: Callable[..., int]) -> Callable[..., int]:
    def call(*given: Any) -> int:
        waits()
        return old(*given)

    return call
