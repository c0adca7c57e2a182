"""A process whose disk is slow: `slow_child.py write|rash|read LEDGER SEED LEAST_S MOST_S WAIT_S [ACTS]`.

Every write, sync, cutting short and deleting that SQLite does in it takes a chance time between the two, s:
inside SQLite, where the locks are held, by functions put before those of its own on files (its C interface,
`sqlite3_vfs` and `sqlite3_io_methods`). Whoever waits for another gives up after WAIT_S.

`write` makes so many acts, each of a player and a chanter, and says `begun NAME`, then `done NAME` or
`refused NAME`, and at its end `slowed OPERATIONS`; `rash` waits for nobody, and says `done` of those that
were refused. `read` reads until it is killed, and says `answered WAITED_S`, `told WAITED_S` or `half
WAITED_S`; what its own disk took is not waiting.
"""

from __future__ import annotations

import _sqlite3
import ctypes
import os
import random
import sys
import time
from typing import Any, Final

import canebench.store.sqlite
from canebench.store.database import LedgerError
from canebench.store.ledger import Ledger, open_ledger

_P, _I, _L = ctypes.c_void_p, ctypes.c_int, ctypes.c_int64
_OPEN: Final = ctypes.CFUNCTYPE(_I, _P, _P, _P, _I, _P)
#: By its place among the methods of a file, after its version: what is slow, and what it is given.
_SLOW: Final = {
    3: ctypes.CFUNCTYPE(_I, _P, _P, _I, _L),  # xWrite
    4: ctypes.CFUNCTYPE(_I, _P, _L),  # xTruncate
    5: ctypes.CFUNCTYPE(_I, _P, _I),  # xSync
}
_METHODS: Final = 19
#: Between two readings, s.
_PAUSE_S: Final = 0.02
_DELETE: Final = ctypes.CFUNCTYPE(_I, _P, _P, _I)


class _Vfs(ctypes.Structure):
    _fields_ = (
        ("version", _I),
        ("file_size", _I),
        ("longest_path", _I),
        ("next", _P),
        ("name", _P),
        ("data", _P),
        ("open", _P),
        ("delete", _P),
    )


class SlowDisk:
    """Slows this process's SQLite down from now on."""

    def __init__(self, chance: random.Random, *, least_s: float, most_s: float) -> None:
        self._chance, self._least_s, self._most_s = chance, least_s, most_s
        #: What it has taken so far, s, and how many operations.
        self.taken_s, self.operations = 0.0, 0
        self._made: dict[int, Any] = {}
        #: What C may call must not be forgotten by Python.
        self._kept: list[Any] = []
        find = ctypes.CDLL(_sqlite3.__file__).sqlite3_vfs_find
        find.restype, find.argtypes = ctypes.POINTER(_Vfs), [ctypes.c_char_p]
        vfs = find(None).contents
        real_open = _OPEN(vfs.open)

        def opened(of: int, name: int, file: int, flags: int, out: int) -> int:
            result = int(real_open(of, name, file, flags, out))
            place = ctypes.cast(file, ctypes.POINTER(_P))
            if place[0]:
                place[0] = self._slow_methods(place[0])
            return result

        vfs.delete = self._slowed(_DELETE, vfs.delete)
        vfs.open = self._for_c(_OPEN(opened))

    def _slow_methods(self, address: int) -> int:
        if address not in self._made:
            own = (_P * _METHODS).from_buffer_copy((_P * _METHODS).from_address(address))
            for place, kind in _SLOW.items():
                own[place] = self._slowed(kind, own[place])
            self._made[address] = own
        return ctypes.addressof(self._made[address])

    def _slowed(self, kind: Any, address: int | None) -> int:
        real = kind(address)

        def slow(*args: int) -> int:
            wait_s = self._chance.uniform(self._least_s, self._most_s)
            time.sleep(wait_s)
            self.taken_s += wait_s
            self.operations += 1
            return int(real(*args))

        return self._for_c(kind(slow))

    def _for_c(self, function: Any) -> int:
        self._kept.append(function)
        address = ctypes.cast(function, _P).value
        assert address is not None
        return address


def tell(word: str) -> None:
    """One line to whoever listens, at once."""
    os.write(1, f"{word}\n".encode())


def write(ledger: Ledger, seed: str, acts: int, *, rash: bool) -> None:
    """Acts, one after another."""
    for number in range(acts):
        name = f"{seed}-{number}"
        tell(f"begun {name}")
        try:
            with ledger.act("player", who="A", said=name) as act:
                player = act.insert("players", {"name": name})
                act.insert("chanters", {"name": name, "player_id": player})
        except LedgerError as error:
            if "Nothing was changed" not in str(error):
                raise
            tell(f"{'done' if rash else 'refused'} {name}")
        else:
            tell(f"done {name}")


def read(ledger: Ledger, disk: SlowDisk) -> None:
    """Everything, again and again: each player with a chanter, or only half of an act is seen."""
    while True:
        begun, taken_s = time.monotonic(), disk.taken_s
        try:
            with ledger.reading() as reader:
                found = reader.dump()
        except LedgerError:
            said = "told"
        else:
            whole = [one["id"] for one in found["players"]] == [one["player_id"] for one in found["chanters"]]
            said = "answered" if whole and len(found["acts"]) == len(found["players"]) else "half"
        tell(f"{said} {time.monotonic() - begun - (disk.taken_s - taken_s):.3f}")
        time.sleep(_PAUSE_S)


def main() -> None:
    role, url, seed, least_s, most_s, wait_s, *acts = sys.argv[1:]
    canebench.store.sqlite.WAIT_S = 0.0 if role == "rash" else float(wait_s)  # type: ignore[misc]
    ledger = open_ledger(url)
    disk = SlowDisk(random.Random(seed), least_s=float(least_s), most_s=float(most_s))  # noqa: S311
    if role == "read":
        read(ledger, disk)
    write(ledger, seed, int(acts[0]), rash=role == "rash")
    tell(f"slowed {disk.operations}")


if __name__ == "__main__":
    main()
