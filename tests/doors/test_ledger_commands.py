"""The ledger from the command: what is told is kept, shown, and can be taken back."""

from __future__ import annotations

import json
import sqlite3
from typing import TYPE_CHECKING, Any

import pytest

from canebench.store.ledger import open_ledger
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    url = str(tmp_path / "ledger.db")
    monkeypatch.setenv("CANEBENCH_LEDGER", url)
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    assert run("lot", "spring", "--count", "5", "--bought", "2026-03-02").exit_code == 0
    assert run("player", "Morag", "--blows", "28 inH2O", "--ceiling", "32 inH2O").exit_code == 0
    return url


def _json(*arguments: str) -> Any:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


@pytest.mark.usefixtures("ledger")
def test_one_line_takes_in_a_lot_and_numbers_go_on() -> None:
    assert [reed["number"] for reed in _json("reed")] == ["1", "2", "3", "4", "5"]
    assert _json("lot", "autumn", "--count", "2")["numbers"] == ["6", "7"]
    assert [lot["name"] for lot in _json("lot")] == ["spring", "autumn"]
    assert len(_json("reed", "--lot", "autumn")) == 2


@pytest.mark.usefixtures("ledger")
def test_a_reed_tells_its_story() -> None:
    run("strength", "1", "--onset", "24 inH2O", "--playing", "28 inH2O", "--choke", "36 inH2O")
    run("ease", "1")
    run("play", "1", "--minutes", "12")
    run("play", "1", "--minutes", "8")
    run("move", "1", "on trial", "--reason", "nearest")
    story = _json("reed", "1")
    assert story["minutes"] == 20
    assert story["pinches"] == 1
    assert story["reed"]["state"] == "on trial"
    assert story["strengths"][0]["playing_kpa"] == pytest.approx(6.9745, abs=1e-4)
    assert [act["kind"] for act in story["acts"]] == ["take-in", "strength", "ease", "play", "play", "move"]
    assert {act["who"] for act in story["acts"]} == {"Ailsa"}
    assert "20 minutes in 2 spells" in run("reed", "1").stdout


@pytest.mark.usefixtures("ledger")
def test_the_choice_is_a_little_above_and_never_above_the_ceiling() -> None:
    for number, pressure in (("1", "30"), ("2", "34"), ("3", "24")):
        run("strength", number, "--playing", f"{pressure} inH2O")
    run("strength", "4", "--by-mouth", "a little stronger", "--than", "3")
    found = {one["reed"]: one for one in _json("choose", "Morag")}
    assert found["1"]["verdict"] == "suits now"
    assert found["2"]["verdict"] == "leave for another"
    assert "ceiling" in " ".join(found["2"]["reasons"])
    assert found["3"]["verdict"].startswith("too easy")
    assert found["4"]["score"] is not None
    assert found["5"]["verdict"] == "grade it first"
    assert "balance" in found["1"]["missing"]


@pytest.mark.usefixtures("ledger")
def test_the_third_pinch_is_the_last_recommended() -> None:
    said = [" ".join(run("ease", "2").stdout.split()) for _ in range(3)]
    assert "Pinched once; that is normal." in said[0]
    assert "No further pinch is recommended." in said[2]
    assert run("ease", "2").exit_code == 4
    assert "more than a reed bears" in " ".join(run("ease", "2", "--insist").stdout.split())


@pytest.mark.usefixtures("ledger")
def test_a_mouth_tested_reed_rests_and_the_caution_stands_there() -> None:
    page = " ".join(run("rest", "3", "--player", "Morag").stdout.split())
    assert "Let it rest" in page
    assert "Local rules on hygiene" in page


def test_every_act_can_be_undone(ledger: str) -> None:
    acts = (
        ("move", "1", "on trial", "--reason", "nearest"),
        ("ease", "1"),
        ("play", "1", "--minutes", "5"),
        ("rest", "1", "--player", "Morag"),
        ("strength", "1", "--playing", "28 inH2O"),
        ("player", "Morag", "--blows", "30 inH2O"),
        ("lot", "autumn", "--count", "2"),
    )
    for act in acts:
        before = _rows(ledger)
        assert run(*act).exit_code == 0
        assert _rows(ledger) != before
        assert run("undo").exit_code == 0
        assert _rows(ledger) == before


def _rows(url: str) -> dict[str, Any]:
    """Everything outside the bin, without the versions that count changes."""
    with open_ledger(url).reading() as reader:
        dump = reader.dump()
    return {
        name: [{k: v for k, v in row.items() if k != "version"} for row in rows if row["removed_at"] is None]
        for name, rows in dump.items()
        if name not in ("acts", "changes")
    }


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["reed", "99"], 5, "no reed 99"),
        (["move", "1", "settled", "--reason", "x"], 4, "it may go to"),
        (["move", "1", "asleep", "--reason", "x"], 4, "set aside"),
        (["move", "1", "retired", "--reason", " "], 4, "reason"),
        (["strength", "1"], 4, "strength"),
        (["strength", "1", "--playing", "28"], 4, "inH2O"),
        (["strength", "1", "--onset", "36 inH2O", "--playing", "24 inH2O"], 4, "exchanged"),
        (["strength", "1", "--by-mouth", "harder", "--than", "2"], 4, "a little stronger"),
        (["play", "1", "--minutes", "-3"], 4, "minutes"),
        (["lot", "spring", "--count", "3"], 4, "there already"),
        (["lot", "x", "--count", "0"], 4, "count"),
        (["lot", "x"], 2, "--count"),
        (["choose", "Nobody"], 5, "Morag"),
        (["undo", "999"], 5, "no act 999"),
        (["player", "Morag", "--ceiling", "300 inH2O"], 4, "ceiling"),
        (["player", "Morag", "--ceiling", "27 inH2O"], 4, "it lies above what the player blows now, 28"),
        (["player", "Morag", "--ceiling", "28 inH2O"], 4, "Nearest that works: 30.0 inH2O"),
        (["player", "Morag", "--ceiling", "0 kPa"], 4, "ceiling: 0.00 inH2O"),
        (["player", "Morag", "--blows", "0 kPa"], 4, "what the player blows: 0.00 inH2O"),
        (["player", "Morag", "--blows", "33 inH2O"], 4, "it lies below the ceiling, 32"),
        (["player", "Effie", "--blows", "7 kPa", "--ceiling", "6 kPa"], 4, "ceiling: 24.1 inH2O (6.0 kPa)"),
        (["rest", "1", "--player", "Morag", "--hours", "24"], 4, "from 48 to 8760 h"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_lost(
    ledger: str, arguments: list[str], code: int, said: str
) -> None:
    before = _rows(ledger)
    result = run(*arguments)
    assert result.exit_code == code
    assert said in result.stderr
    assert _rows(ledger) == before


def test_a_ledger_in_an_impossible_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert run("reed", "--ledger", str(tmp_path / "file" / "ledger.db")).exit_code == 5
    assert run("lot", "--new", "--ledger", str(tmp_path / "file" / "ledger.db")).exit_code == 4
    other = run("reed", "--ledger", "mysql://x")
    assert other.exit_code == 4
    assert "postgresql" in other.stderr
    assert run("reed", "--ledger", str(tmp_path / "file")).exit_code == 7
    assert (tmp_path / "file").read_text() == "x"
    foreign = tmp_path / "foreign.db"
    with sqlite3.connect(foreign) as raw:
        raw.execute("CREATE TABLE diary (day TEXT)")
    assert run("reed", "--ledger", str(foreign)).exit_code == 7
