"""Writes acts into a ledger and tells each one once it is kept; told `early`, it lies and tells it before."""

from __future__ import annotations

import sys

from canebench.store.ledger import open_ledger


def tell(name: str) -> None:
    """One line to whoever listens, at once."""
    sys.stdout.write(f"{name}\n")
    sys.stdout.flush()


def main() -> None:
    url, early = sys.argv[1], sys.argv[2] == "early"
    ledger = open_ledger(url)
    number = 0
    while True:
        number += 1
        with ledger.act("player", who="A", said=f"player {number}") as act:
            name = f"{sys.argv[3]}-{number}"
            player = act.insert("players", {"name": name})
            act.insert("chanters", {"name": name, "player_id": player})
            if early:
                tell(name)
        if not early:
            tell(name)


if __name__ == "__main__":
    main()
