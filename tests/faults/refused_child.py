"""Acts that the system refuses: `refused_child.py LEDGER limit|readonly|plain`. One line for each act.

`limit` lets no file grow beyond ever more bytes (20 steps); `readonly` acts as nobody; `plain` just acts.
"""

from __future__ import annotations

import os
import resource
import sys
from pathlib import Path

from canebench.store.database import LedgerError
from canebench.store.ledger import open_ledger

_STEPS = 20
_NOBODY = 65_534


def act(url: str, number: int) -> str:
    """One act over many pages; what came of it."""
    try:
        with open_ledger(url).act("player", who="Ailsa", said=f"{number}") as writer:
            writer.insert("players", {"name": f"{number}", "remarks": "x" * 20_000})
            writer.insert("players", {"name": f"{number} too"})
    except LedgerError as error:
        return f"{number} refused {error}"
    return f"{number} done"


def main() -> None:
    """The acts, each told when it is over."""
    url, mode = sys.argv[1:]
    if mode == "readonly" and os.getuid() == 0:
        os.setgid(_NOBODY)
        os.setuid(_NOBODY)
    limit = resource.getrlimit(resource.RLIMIT_FSIZE)
    size = Path(url).stat().st_size
    for number in range(_STEPS if mode != "readonly" else 1):
        if mode == "limit":
            resource.setrlimit(resource.RLIMIT_FSIZE, (number * (size + 1_000_000) // _STEPS, limit[1]))
        said = act(url, number)
        resource.setrlimit(resource.RLIMIT_FSIZE, limit)
        sys.stdout.write(f"{said}\n")


if __name__ == "__main__":
    main()
