"""A process whose disk is slow: `slow_writers_child.py ROLE LEDGER SEED LEAST_S MOST_S WAIT_S ACTS`.

Every write, sync, cutting short and deleting takes a chance time between the two, s; who waits for another
gives up after WAIT_S. ROLE is one of three. `write` makes so many acts, each of a player and a chanter, and
says `begun NAME`, then `done NAME` or `refused NAME`. `rash` waits for nobody, and says `done` of those that
were refused. `read` reads until it is killed, and says `answered WAITED_S`, `told WAITED_S` or `half
WAITED_S`; what its own disk took is not waiting.
"""

from __future__ import annotations

import os
import sys
import time
from typing import TYPE_CHECKING, Final

from canebench.store import sqlite
from canebench.store.database import LedgerError
from canebench.store.ledger import open_ledger
from support.slow_disk import make_disk_slow

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from support.slow_disk import Waits

#: Between two readings, s.
_PAUSE_S: Final = 0.02


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


def read(ledger: Ledger, disk: Waits) -> None:
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
    role, url, seed, least_s, most_s, wait_s, acts = sys.argv[1:]
    sqlite.WAIT_S = 0.0 if role == "rash" else float(wait_s)  # type: ignore[misc]
    ledger = open_ledger(url)
    disk = make_disk_slow(float(least_s), float(most_s), seed=int(seed))
    if role == "read":
        read(ledger, disk)
    write(ledger, seed, int(acts), rash=role == "rash")


if __name__ == "__main__":
    main()
