"""A ledger on a slow disk: two who write at once, one of them killed, and two who read all the while."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from breaking.line import Line
from canebench.store.ledger import open_ledger
from support.ledgers import amiss_of, dump_of
from support.slow_disk import finding_support

_CHILD: Final = Path(__file__).parents[2] / "tests" / "faults" / "slow_writers_child.py"
#: What one operation takes, from and to, s; a short look is at a disk ten times as fast.
_TAKES_S: Final = (0.05, 0.5)
_SHORT: Final = 10
#: Operations of an act, some.
_OPERATIONS: Final = 50
#: Who waits for the other gives up after so many of the slowest operations.
_WRITER_WAITS, _READER_WAITS = 10, 4
#: Beyond its limit a reader may be so late, s: a busy machine lets it wait for its turn.
_LATE_S: Final = 2.0
#: Acts of a writer; two write in each round.
_EACH: Final = 4


@dataclass(frozen=True, slots=True)
class Child:
    """One process, and what it says."""

    process: subprocess.Popen[bytes]
    said: Path

    def lines(self) -> list[list[str]]:
        """All that it said to its end, in words; the line that a kill cut off is left out."""
        self.process.wait()
        return [line.split() for line in self.said.read_text(encoding="utf-8").split("\n")[:-1]]


def slow_writers(
    folder: Path,
    *,
    count: int,
    seed: int,
    role: str = "write",
    patience_s: float | None = None,
    late_s: float = _LATE_S,
) -> Line:
    """Acts on a disk whose every write, sync and deleting takes 50 to 500 ms; up to eight acts, 5 to 50 ms.

    Of the two writers of a round one is killed at a chance moment. The last three are for controls: writers
    that are `rash`, readers that are more patient than their limit, and how late they may be. Guarded by
    `tests/faults/test_breaking.py`.
    """
    url, chance = str(folder / "ledger.db"), random.Random(seed)  # noqa: S311
    open_ledger(url)
    faster = _SHORT if count <= 2 * _EACH else 1
    least_s, most_s = (taken_s / faster for taken_s in _TAKES_S)
    limit_s = _READER_WAITS * most_s

    def child(role: str, number: int, wait_s: float) -> Child:
        words = (role, url, 100 * seed + number, least_s, most_s, wait_s, _EACH)
        said = folder / f"{role} {number}"
        with said.open("wb") as out:
            process = subprocess.Popen(
                [sys.executable, str(_CHILD), *map(str, words)], stdout=out, env=finding_support()
            )
        return Child(process, said)

    readers = [child("read", 98 + number, patience_s or limit_s) for number in range(2)]
    writers: list[Child] = []
    failed = killed = 0
    try:
        for number in range(0, max(count // _EACH, 2), 2):
            pair = [child(role, number + one, _WRITER_WAITS * most_s) for one in range(2)]
            writers += pair
            while not pair[0].said.stat().st_size and pair[0].process.poll() is None:
                time.sleep(0.01)
            # In its first act or its second, if it need not wait; late enough for one to be refused.
            time.sleep(chance.uniform(0.25, 1.0) * _OPERATIONS * (least_s + most_s))
            killed += pair[0].process.poll() is None
            pair[0].process.kill()
            failed += pair[1].process.wait() != 0
        failed += sum(reader.process.poll() is not None for reader in readers)
    finally:
        for one in (*readers, *writers):
            one.process.kill()
            one.process.wait()
    return _judged(url, writers, readers, limit_s=limit_s + late_s, failed=failed, killed=killed)


def _judged(
    url: str, writers: list[Child], readers: list[Child], *, limit_s: float, failed: int, killed: int
) -> Line:
    told: dict[str, list[str]] = defaultdict(list)
    for one in (*writers, *readers):
        for word, *more in one.lines():
            told[word] += more
    ledger = open_ledger(url)
    dump = dump_of(ledger)
    kept = [str(row["name"]) for row in dump["players"]]
    waited_s = [float(one) for word in ("answered", "told", "half") for one in told[word]]
    return Line(
        kind="slow-writers",
        count=len(told["begun"]),
        bad={
            "acts lost": sum(name not in kept for name in told["done"]),
            "twice": len(kept) - len(set(kept)),
            "refused and kept": sum(name in kept for name in told["refused"]),
            "halves read": len(told["half"]),
            "readers kept waiting": sum(one > limit_s for one in waited_s),
            "died": failed,
            "damages": len(amiss_of(ledger)) + (len(dump["chanters"]) != len(kept)),
        },
        seen={
            "done": len(told["done"]),
            "refused": len(told["refused"]),
            "killed": killed,
            "readings": len(waited_s),
            "of them told to wait no longer": len(told["told"]),
            "s the longest wait of a reader": f"{max(waited_s, default=0.0):.1f}",
        },
    )
