"""What is advised against is refused with its reason; where one insists, it is done and written down so."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.store.ledger import open_ledger
from canebench.store.records import EaseRecord, PlayRecord, StrengthRecord, TakeRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.store.records import Record

#: What a player may not do with a reed that rests, and what it writes.
_RESTING = {
    "play": (["play", "1", "--minutes", "5", "--player", "Morag"], PlayRecord),
    "strength": (["strength", "1", "--playing", "29 inH2O", "--player", "Morag"], StrengthRecord),
    "by mouth": (["strength", "1", "--by-mouth", "same", "--than", "2", "--player", "Morag"], StrengthRecord),
    "fit": (
        ["fit", "--typed", "low A=478", "--reed", "1", "--chanter", "x", "--player", "Morag"],
        TakeRecord,
    ),
}


@pytest.fixture
def ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    url = str(tmp_path / "ledger.db")
    monkeypatch.setenv("CANEBENCH_LEDGER", url)
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    assert run("lot", "spring", "--count", "2").exit_code == 0
    for name in ("Morag", "Effie"):
        assert run("player", name, "--blows", "28 inH2O", "--ceiling", "32 inH2O").exit_code == 0
    assert run("rest", "1", "--player", "Effie").exit_code == 0
    return url


def _count(url: str, record: type[Record]) -> int:
    with open_ledger(url).reading() as reader:
        return reader.count(record)


def _last_said(url: str) -> str:
    with open_ledger(url).reading() as reader:
        return reader.history(limit=1)[0].said


@pytest.mark.parametrize("what", _RESTING)
def test_a_reed_that_rests_is_refused_to_another_mouth(ledger: str, what: str) -> None:
    arguments, record = _RESTING[what]
    refused = run(*arguments)
    assert refused.exit_code == 4
    said = " ".join(refused.stderr.split())
    assert "reed 1: Morag was given; it rests from the mouth of Effie until" in said
    assert "insist" in said
    assert _count(ledger, record) == 0
    assert run(*arguments, "--insist").exit_code == 0
    assert _count(ledger, record) == 1
    assert "insisted: it rests from the mouth of Effie until" in _last_said(ledger)


@pytest.mark.parametrize("what", _RESTING)
def test_control_the_same_mouth_and_another_reed_are_not_refused(ledger: str, what: str) -> None:
    arguments, record = _RESTING[what]
    own = ["Effie" if one == "Morag" else one for one in arguments]
    swapped = [{"1": "2", "2": "1"}.get(one, one) for one in arguments]
    for free in (own, swapped):
        assert run(*free).exit_code == 0, free
        assert "insisted" not in _last_said(ledger)
    assert _count(ledger, record) == 2


def test_the_fourth_pinch_is_refused_and_written_down_where_one_insists(ledger: str) -> None:
    for _ in range(3):
        assert run("ease", "2").exit_code == 0
    assert "insisted" not in _last_said(ledger)
    refused = run("ease", "2")
    assert refused.exit_code == 4
    assert "pinch: number 4 was given; a reed bears 3 in its life" in " ".join(refused.stderr.split())
    assert _count(ledger, EaseRecord) == 3
    # Another way of easing is no pinch.
    assert run("ease", "2", "--how", "other").exit_code == 0
    assert run("ease", "2", "--insist", "--remarks", "for the parade").exit_code == 0
    assert _last_said(ledger) == "eased reed 2 (pinch), insisted: pinch 4 of 3"
    with open_ledger(ledger).reading() as reader:
        assert reader.rows(EaseRecord)[-1].remarks == "insisted: pinch 4 of 3; for the parade"
    assert run("ease", "2").exit_code == 4


def test_insisting_where_nothing_is_advised_against_is_not_written_down(ledger: str) -> None:
    assert run("ease", "2", "--insist").exit_code == 0
    assert _last_said(ledger) == "eased reed 2 (pinch)"


@pytest.mark.usefixtures("ledger")
def test_nothing_lifts_a_ceiling() -> None:
    """Insisted on or not, what lies above it is said, and never chosen."""
    told = ["--player", "Morag", "--insist", "--json"]
    strong = json.loads(run("strength", "1", "--playing", "36 inH2O", *told).stdout)
    played = json.loads(run("play", "1", "--minutes", "5", *told).stdout)
    for done in (strong, played):
        assert "your ceiling is 32.0 inH2O" in done["cautions"][0]
    (first,) = (one for one in json.loads(run("choose", "Morag", "--json").stdout) if one["reed"] == "1")
    assert first["verdict"] == "leave for another"
    # The control: below it, nothing is said.
    below = json.loads(run("strength", "2", "--playing", "30 inH2O", *told).stdout)
    assert not any("your ceiling is" in caution for caution in below["cautions"])


def test_pinches_told_with_a_take_count_in_the_reeds_life(ledger: str) -> None:
    """In the take's own act, and once; control: one that was told with `ease` is not counted again."""
    fit = ["fit", "--reed", "2", "--chanter", "x", "--typed", "low A=478", "--typed", "high A=955"]
    assert run(*fit).exit_code == 0
    assert run(*fit, "--pinches", "1").exit_code == 0
    assert _count(ledger, EaseRecord) == 1
    assert _last_said(ledger).startswith("measured reed 2 in x")
    assert run("ease", "2").exit_code == 0
    assert run(*fit, "--pinches", "2").exit_code == 0
    assert _count(ledger, EaseRecord) == 2
