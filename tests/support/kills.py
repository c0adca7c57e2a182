"""Kills of processes that write acts, and whether what they told was kept."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from canebench.store.ledger import open_ledger
from canebench.store.records import PlayerRecord

if TYPE_CHECKING:
    from collections.abc import Iterator

_CHILD = Path(__file__).parents[1] / "faults" / "writing_child.py"


def _acknowledged(parent: subprocess.Popen[str], mode: str, run: int, wait_s: float) -> list[str]:
    """What a child told before it was killed, so long after its first word."""
    assert parent.stdin is not None
    assert parent.stdout is not None
    parent.stdin.write(f"{mode} {run}\n")
    parent.stdin.flush()
    child = int(parent.stdout.readline())
    told = [parent.stdout.readline()]
    time.sleep(wait_s)
    os.kill(child, signal.SIGKILL)
    while (word := parent.stdout.readline()) != "killed\n":
        assert word, "the parent has died"
        told.append(word)
    return [word.strip() for word in told]


def _runs(kills: int, seed: int) -> Iterator[tuple[int, float]]:
    chance = random.Random(seed)  # noqa: S311 - moments, not secrets
    for run in range(kills):
        yield run, chance.uniform(0.005, 0.05)


def lost(url: str, mode: str, kills: int, *, seed: int = 3) -> int:
    """How many acts that were told were not there after so many kills; told `honest`ly, or `early`."""
    command = [sys.executable, str(_CHILD), url]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as parent:
        told = [
            word for run, wait_s in _runs(kills, seed) for word in _acknowledged(parent, mode, run, wait_s)
        ]
    assert len({word.partition("-")[0] for word in told}) == kills
    with open_ledger(url).reading() as reader:
        kept = {row.name for row in reader.rows(PlayerRecord)}
    return sum(name not in kept for name in told)
