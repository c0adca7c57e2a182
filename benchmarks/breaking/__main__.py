"""Breaks the ledger in every way asked for and prints a table: `benchmarks/faults [KIND ...]`."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breaking.files import failing_operations, turned_bits
from breaking.ledgers import (
    clock_jumps,
    cut_files_any_order,
    cut_files_in_order,
    cuts_any_order,
    cuts_in_order,
    full_disk,
)
from breaking.processes import kills, server_cuts, takes_at_once, two_writers
from breaking.slow import slow_disk
from breaking.slow_writers import slow_writers
from breaking.soak import soak

if TYPE_CHECKING:
    from collections.abc import Callable

    from breaking.line import Line

#: What each kind does, how often where nothing is said, and how often for a short look.
KINDS: Final[dict[str, tuple[Callable[..., Line], int, int]]] = {
    "flips": (turned_bits, 2_000, 40),
    "io": (failing_operations, 1_000, 20),
    "kills": (kills, 200, 10),
    "power": (cuts_any_order, 1_000, 20),
    "power-ordered": (cuts_in_order, 1_000, 20),
    "power-files": (cut_files_any_order, 1_000, 60),
    "power-files-ordered": (cut_files_in_order, 1_000, 60),
    "full": (full_disk, 500, 20),
    "clock": (clock_jumps, 500, 50),
    "writers": (two_writers, 400, 20),
    "takes": (takes_at_once, 10_000, 200),
    "server": (server_cuts, 200, 6),
    "slow": (slow_disk, 40, 9),
    "slow-writers": (slow_writers, 40, 8),
}


def main() -> int:
    """1 where anything came of it that must not."""
    parser = argparse.ArgumentParser(prog="benchmarks/faults", description=__doc__)
    parser.add_argument(
        "kinds", nargs="*", metavar="KIND", help=f"of {', '.join(KINDS)}; all of them if none"
    )
    parser.add_argument("--count", type=int, help="so often, instead of the usual number of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--short", action="store_true", help="a few of each: seconds")
    parser.add_argument(
        "--soak", type=float, metavar="MINUTES", help="nothing but a bench at work for so long; what grows"
    )
    wanted = parser.parse_args()
    if wanted.soak:
        with tempfile.TemporaryDirectory(prefix="faults-") as folder:
            line = soak(Path(folder), minutes=wanted.soak, seed=wanted.seed)
        print(line)
        return int(line.failed)
    unknown = sorted({*wanted.kinds} - KINDS.keys())
    if unknown:
        parser.error(f"no such kind: {', '.join(unknown)}; there are {', '.join(KINDS)}")
    print(f"{'broken':<20}{'times':>7} what must be 0 first; seed {wanted.seed}")
    failed = False
    for name in wanted.kinds or KINDS:
        line, spent_s = broken(name, count=wanted.count, seed=wanted.seed, short=wanted.short)
        print(f"{line} ({spent_s:.0f} s of CPU)", flush=True)
        failed |= line.failed
    return int(failed)


def broken(name: str, *, count: int | None, seed: int, short: bool = False) -> tuple[Line, float]:
    """One kind, in a folder of its own; its line, and the CPU it took, s."""
    run, usual, few = KINDS[name]
    begun = sum(os.times()[:4])
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        line = run(Path(folder), count=count or (few if short else usual), seed=seed)
    return line, sum(os.times()[:4]) - begun


if __name__ == "__main__":
    sys.exit(main())
