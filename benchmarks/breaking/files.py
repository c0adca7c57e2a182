"""Bits turned in a ledger's file; operations on files that fail."""

from __future__ import annotations

import random
from collections import Counter
from itertools import cycle
from typing import TYPE_CHECKING

from breaking.line import Line
from canebench.bench.acts.upkeep.demo_season import make_demo
from support.failing_commands import QUICK, SLOW, Outcome, outcomes, prepared
from support.flips import flips

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def turned_bits(folder: Path, *, count: int, seed: int) -> Line:
    """One bit anywhere in the invented season's ledger, so many times."""
    whole = make_demo(folder / "demo").read_bytes()
    chance = random.Random(seed)  # noqa: S311 - damages, not secrets
    found = flips(whole, folder / "flipped.db", chance, count=count)
    told, unused = found.verdicts["told"], found.verdicts["unused"]
    mattering = max(count - unused, 1)
    return Line(
        kind="flips",
        count=count,
        bad={"tracebacks": found.verdicts["traceback"], "missed": found.verdicts["missed"]},
        seen={"told": told, "where nothing is read": unused, "of the others told": f"{told / mattering:.1%}"},
        worst=tuple(f"bit {bit} of byte {at}" for at, bit in found.missed),
    )


def failing_operations(folder: Path, *, count: int, seed: int) -> Line:
    """The n-th operation of each command, by turns on a full disk, a broken one, and one without rights."""
    start = prepared(folder / "start")
    commands = {**QUICK, **SLOW}
    every = {"demo": 397}
    found: list[tuple[str, Outcome]] = []
    for number, name in enumerate(cycle(commands)):
        left = count - len(found)
        if left <= 0:
            break
        # Each round begins elsewhere in the turn of errors, and every third has a disk that stays full.
        turn = number // len(commands)
        step = every.get(name, 1)
        these = outcomes(
            start,
            folder / "work",
            commands[name],
            first=1 + (seed + turn) % step,
            every=step,
            most=left,
            error=seed + turn,
            lasting=turn % 3 == 2,
        )
        found += [(name, one) for one in these]
    return _io_line(found)


def _io_line(found: list[tuple[str, Outcome]]) -> Line:
    kinds = Counter(amiss.partition(":")[0] for _, one in found for amiss in one.amiss)
    bad: Mapping[str, int] = {
        "tracebacks": kinds.pop("traceback", 0),
        "half states or lies": sum(kinds.values()),
    }
    return Line(
        kind="io",
        count=len(found),
        bad=bad,
        seen={"failed": sum(one.failed is not None for _, one in found)},
        worst=tuple(
            f"{name}, operation {one.step} ({one.failed}): {'; '.join(one.amiss)[:300]}"
            for name, one in found
            if one.amiss
        ),
    )
