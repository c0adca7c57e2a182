"""Killed at any moment, the ledger loses nothing that it has acknowledged."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from canebench.store.ledger import open_ledger
from canebench.store.records import PlayerRecord
from support.ledgers import dump_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.store.ledger import Ledger

_CHILD = Path(__file__).parent / "writing_child.py"
_KILLS = 200


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


def _runs(kills: int) -> Iterator[tuple[int, float]]:
    chance = random.Random(3)  # noqa: S311 - moments, not secrets
    for run in range(kills):
        yield run, chance.uniform(0.005, 0.05)


def _lost(url: str, mode: str, kills: int) -> int:
    command = [sys.executable, str(_CHILD), url]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as parent:
        told = [word for run, wait_s in _runs(kills) for word in _acknowledged(parent, mode, run, wait_s)]
    assert len({word.partition("-")[0] for word in told}) == kills
    with open_ledger(url).reading() as reader:
        kept = {row.name for row in reader.rows(PlayerRecord)}
    return sum(name not in kept for name in told)


def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    url = str(tmp_path / "ledger.db")
    open_ledger(url)
    assert _lost(url, "honest", _KILLS) == 0
    with sqlite3.connect(url) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    raw.close()
    _check_whole(open_ledger(url))


def _check_whole(ledger: Ledger) -> None:
    """Every act made a player and a chanter and noted both: none is half there."""
    dump = dump_of(ledger)
    assert len(dump["acts"]) > _KILLS
    noted = [(row["act_id"], row["in_table"]) for row in dump["changes"]]
    assert noted == [(act["id"], table) for act in dump["acts"] for table in ("players", "chanters")]
    assert [row["player_id"] for row in dump["chanters"]] == [row["id"] for row in dump["players"]]
    assert len(dump["players"]) == len(dump["acts"])


def test_a_ledger_that_acknowledged_too_early_would_be_caught(tmp_path: Path) -> None:
    """The control: told before it is kept, some word is lost."""
    url = str(tmp_path / "ledger.db")
    open_ledger(url)
    assert _lost(url, "early", 40) > 0
