"""Writes so many acts into a ledger: `writing_process.py LEDGER NAME ACTS`; says how long they took, s.

Every act reads a count and writes it back greater by one, so that one lost would show.
"""

from __future__ import annotations

import json
import sys
import time

from canebench.store.ledger import open_ledger
from canebench.store.records import ReedRecord


def main() -> None:
    """The acts one after another, as fast as they go."""
    url, name, acts = sys.argv[1], sys.argv[2], int(sys.argv[3])
    ledger = open_ledger(url)
    longest = 0.0
    start = time.monotonic()
    for number in range(acts):
        begun = time.monotonic()
        with ledger.act("play", who=name, said=f"{name} {number}") as act:
            reed = act.row(ReedRecord, 1)
            act.insert("plays", {"reed_id": 1, "at": act.at, "minutes": 1, "remarks": f"{name} {number}"})
            count = int(reed.remarks or "0") + 1
            act.update(reed, {"remarks": f"{count}"})
        longest = max(longest, time.monotonic() - begun)
    sys.stdout.write(json.dumps([time.monotonic() - start, longest]))


if __name__ == "__main__":
    main()
