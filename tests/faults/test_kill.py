"""Killed at any moment, the ledger loses nothing that it has acknowledged."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from canebench.store.ledger import open_ledger
from support.kills import lost
from support.ledgers import dump_of

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.ledger import Ledger

_KILLS = 200


def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    url = str(tmp_path / "ledger.db")
    open_ledger(url)
    assert lost(url, "honest", _KILLS) == 0
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
    assert lost(url, "early", 40) > 0
