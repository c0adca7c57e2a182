"""A fitting is not begun with a reed that is offered to nobody, or that asks for more than a ceiling."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.store.ledger import open_ledger
from canebench.store.records import TakeRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

_FIT = ("fit", "--typed", "low A=478", "--reed", "1", "--chanter", "x", "--player", "Morag")


@pytest.fixture
def ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    url = str(tmp_path / "ledger.db")
    monkeypatch.setenv("CANEBENCH_LEDGER", url)
    monkeypatch.setenv("CANEBENCH_WHO", "Ailsa")
    assert run("lot", "spring", "--count", "2").exit_code == 0
    assert run("player", "Morag", "--blows", "28 inH2O", "--ceiling", "32 inH2O").exit_code == 0
    return url


def _takes(url: str) -> int:
    with open_ledger(url).reading() as reader:
        return reader.count(TakeRecord)


def _last_said(url: str) -> str:
    with open_ledger(url).reading() as reader:
        return reader.history(limit=1)[0].said


def test_a_reed_that_was_set_aside_is_fitted_only_where_one_insists(ledger: str) -> None:
    assert run("move", "1", "set aside", "--reason", "a chip").exit_code == 0
    refused = run(*_FIT)
    assert refused.exit_code == 4
    assert "reed 1: set aside: a chip was given" in " ".join(refused.stderr.split())
    assert _takes(ledger) == 0
    assert run(*_FIT, "--insist").exit_code == 0
    assert "insisted: it is set aside" in _last_said(ledger)


def test_control_another_reed_is_fitted(ledger: str) -> None:
    assert run("move", "2", "set aside", "--reason", "a chip").exit_code == 0
    assert run(*_FIT).exit_code == 0
    assert "insisted" not in _last_said(ledger)


@pytest.mark.parametrize("insist", [(), ("--insist",)])
def test_a_reed_above_the_ceiling_is_not_fitted_whatever_one_insists(
    ledger: str, insist: tuple[str, ...]
) -> None:
    assert run("strength", "1", "--playing", "33 inH2O").exit_code == 0
    refused = run(*_FIT, *insist)
    assert refused.exit_code == 4
    said = " ".join(refused.stderr.split())
    assert "ceiling: reed 1 was given" in said
    assert "your ceiling is 32" in said
    assert _takes(ledger) == 0


@pytest.mark.usefixtures("ledger")
@pytest.mark.parametrize("then", ["eased", "below", "begun"])
def test_control_one_that_was_eased_or_lies_below_it_or_was_begun_is(then: str) -> None:
    if then == "begun":
        assert run(*_FIT).exit_code == 0
    assert run("strength", "1", "--playing", "31 inH2O" if then == "below" else "33 inH2O").exit_code == 0
    if then == "eased":
        assert run("ease", "1").exit_code == 0
    assert run(*_FIT).exit_code == 0


def _acts_said(*more: str) -> list[str]:
    """The labels under which a fit tells an act, one for each."""
    done = run(*_FIT, *more)
    assert done.exit_code == 0, done.stderr
    return [line.split()[0] for line in done.stdout.splitlines() if line.startswith(("Next ", "Now "))]


@pytest.mark.usefixtures("ledger")
def test_the_next_act_is_said_once() -> None:
    """Where there is a plan it is the plan's, which knows of cold pipes; else (control) the take's own."""
    assert _acts_said() == ["Next"]
    assert _acts_said("--typed", "high A=945", "--warm", "3") == ["Now"]
