"""What the library of SQLite that Python itself uses does with its files, watched for all of this process.

It opens its files through tables of functions (its documentation: "The OS Interface or VFS"; `sqlite3_vfs`
and `sqlite3_io_methods` of `sqlite3.h`). The entries that write are replaced by ones that tell and go on to
the old: the locks, the busy handler and all of the product's own code are as ever.
"""

from __future__ import annotations

import _sqlite3
import ctypes
import os
from ctypes import CFUNCTYPE, POINTER, Structure, c_char_p, c_int, c_int64, c_void_p
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

    #: Told the path, the file's address in memory, SQLite's flags, and whether the file is new.
    Opened = Callable[[str, int, int, bool], None]
    #: Told what ("write", "truncate", "sync", "delete"), the file's address, and what was given.
    Did = Callable[[str, int, tuple[Any, ...]], None]

#: Where SQLite's file functions stand in their table, by what they take after the file.
_WRITING: Final = {
    3: ("write", CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)),
    4: ("truncate", CFUNCTYPE(c_int, c_void_p, c_int64)),
    5: ("sync", CFUNCTYPE(c_int, c_void_p, c_int)),
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


#: What C holds pointers to must stay.
_KEPT: list[Any] = []


def watch_sqlite(opened: Opened, did: Did) -> None:
    """From now on; `did` is told before each operation, which goes on once it returns."""
    library = ctypes.CDLL(getattr(_sqlite3, "__file__", None))
    library.sqlite3_initialize()
    library.sqlite3_vfs_find.restype = POINTER(_Vfs)
    vfs = library.sqlite3_vfs_find(None).contents
    old_open, old_delete = _OPEN(vfs.open), _DELETE(vfs.delete)
    watched: dict[int, Any] = {}

    def open_file(itself: int, name: int | None, file: int, flags: int, told: int | None) -> int:
        path = os.fsdecode(ctypes.string_at(name)) if name else ""
        new = bool(path) and not os.path.lexists(path)
        result: int = old_open(itself, name, file, flags, told)
        # The first thing in a file is its table of functions.
        first = c_void_p.from_address(file)
        if result == 0 and first.value:
            if path:
                opened(path, file, flags, new)
            if first.value not in watched:
                watched[first.value] = _watched(first.value, did)
            first.value = ctypes.addressof(watched[first.value])
        return result

    def delete(itself: int, name: int, synced: int) -> int:
        path = os.fsdecode(ctypes.string_at(name))
        if os.path.lexists(path):
            did("delete", 0, (path, synced))
        done: int = old_delete(itself, name, synced)
        return done

    new = (_OPEN(open_file), _DELETE(delete))
    _KEPT.extend((*new, watched))
    vfs.open, vfs.delete = (ctypes.cast(one, c_void_p).value for one in new)


def _watched(table: int, did: Did) -> Any:
    """A copy of a table of functions of which those that write tell first."""
    size = _SIZES[min(c_int.from_address(table).value, 3)]
    copy = (c_void_p * size).from_buffer_copy((c_void_p * size).from_address(table))
    for at, (what, kind) in _WRITING.items():
        new = kind(_after(what, did, kind(copy[at] or 0)))
        _KEPT.append(new)
        copy[at] = ctypes.cast(new, c_void_p).value
    return copy


def _after(what: str, did: Did, old: Callable[..., int]) -> Callable[..., int]:
    def call(file: int, *given: Any) -> int:
        did(what, file, given)
        return old(file, *given)

    return call
