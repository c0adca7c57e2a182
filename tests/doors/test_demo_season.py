"""The invented season: made in one command, kept apart, removed in one command."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.store.ledger import open_ledger
from canebench.store.records import PlayerRecord, PlayRecord, ReedRecord, TakeRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path


def test_a_season_is_made_and_removed(tmp_path: Path) -> None:
    folder = tmp_path / "try"
    assert run("demo", str(folder)).exit_code == 0
    with open_ledger(str(folder / "ledger.db")).reading() as reader:
        assert reader.count(ReedRecord) == 18
        assert reader.count(PlayerRecord) == 4
        assert reader.count(TakeRecord) >= 4
        assert reader.count(PlayRecord) == 32
        assert {reed.state for reed in reader.rows(ReedRecord)} == {"new", "settled"}
    assert "settled" in run("reed", "1", "--ledger", str(folder / "ledger.db")).stdout
    assert run("demo", str(folder)).exit_code == 4
    assert run("demo", str(folder), "--remove").exit_code == 0
    assert not folder.exists()


def test_nothing_but_a_demo_is_removed(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "ledger.db").write_bytes(b"precious")
    assert run("demo", str(mine), "--remove").exit_code == 4
    assert run("demo", str(mine)).exit_code == 4
    assert (mine / "ledger.db").read_bytes() == b"precious"
