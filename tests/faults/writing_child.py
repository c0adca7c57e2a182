"""Writes acts into a ledger and tells each one once it is kept; told `early`, it lies and tells it before.

For each line it is given, how and which run, it parts with a child of its own that does so until it is
killed: to start Python anew for each would take longer than all the writing. A child says its number first.
"""

from __future__ import annotations

import os
import sys

from canebench.store.ledger import open_ledger


def tell(word: str) -> None:
    """One line to whoever listens, at once."""
    os.write(1, f"{word}\n".encode())


def write(url: str, run: str, *, early: bool) -> None:
    """Acts, one after another, until killed."""
    ledger = open_ledger(url)
    number = 0
    while True:
        number += 1
        with ledger.act("player", who="A", said=f"player {number}") as act:
            name = f"{run}-{number}"
            player = act.insert("players", {"name": name})
            act.insert("chanters", {"name": name, "player_id": player})
            if early:
                tell(name)
        if not early:
            tell(name)


def main() -> None:
    for line in sys.stdin:
        mode, run = line.split()
        child = os.fork()
        if not child:
            tell(str(os.getpid()))
            write(sys.argv[1], run, early=mode == "early")
        os.waitpid(child, 0)
        # Whatever it told stands before this.
        tell("killed")


if __name__ == "__main__":
    main()
