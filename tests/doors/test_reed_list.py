"""Lists of many reeds: narrowed, in the order of their numbers, and no longer than asked."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import ReedRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ledger:
    """Reeds 1 to 130 in two lots; reed 9 is Morag's."""
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    run("lot", "spring", "--count", "120")
    run("lot", "autumn", "--count", "10")
    run("player", "Morag")
    ledger = open_ledger(str(tmp_path / "ledger.db"))
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.update(act.row(ReedRecord, 9), {"player_id": 1})
    return ledger


def numbers(*words: str) -> list[str]:
    return [one["number"] for one in json.loads(run("reed", *words, "--json").stdout)]


@pytest.mark.usefixtures("ledger")
def test_reeds_are_narrowed_and_in_order() -> None:
    assert numbers() == [str(one) for one in range(1, 131)]
    assert numbers("--player", "Morag") == ["9"]
    assert numbers("--search", "12", "--lot", "autumn") == [str(one) for one in range(121, 130)]
    assert numbers("--search", "12", "--limit", "3") == ["12", "112", "120"]
    assert numbers("--search", "%") == []
    assert "No such reed" in run("reed", "--search", "x").stdout


@pytest.mark.usefixtures("ledger")
def test_a_page_says_that_there_are_more() -> None:
    page = run("reed").stdout
    assert "more than these 100" in page
    assert len(page.splitlines()) < 110
    assert "more than" not in run("reed", "--limit", "130").stdout
    assert "more than these 129" in run("reed", "--limit", "129").stdout
    for wrong in ("0", "-1"):
        for form in ((), ("--json",)):
            result = run("reed", "--limit", wrong, *form)
            assert (result.exit_code, "at least 1" in result.stderr) == (4, True)
    for unknown in ("--lot", "--player"):
        assert "named 'x'" in run("reed", unknown, "x").stderr


def test_an_act_that_was_undone_says_so_in_the_story(ledger: Ledger) -> None:
    run("ease", "5")
    assert "(undone)" not in run("reed", "5").stdout
    run("undo")
    told = run("reed", "5").stdout
    assert "(undone)" in told
    assert ledger is not None
