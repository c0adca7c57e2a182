"""A few of each kind of `benchmarks/faults`: nothing that it counts came of it; something bad is told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from breaking.__main__ import KINDS, broken, main
from breaking.line import Line
from breaking.slow_writers import slow_writers

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_lost(kind: str) -> None:
    line, _ = broken(kind, count=None, seed=20261127, short=True)
    assert not line.failed, line
    assert line.count >= 1


def test_control_what_is_bad_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def bad(folder: Path, *, count: int, seed: int) -> Line:
        return Line(kind="bad", count=count, bad={"acts lost": seed}, worst=(f"in {folder.name}",))

    monkeypatch.setitem(KINDS, "bad", (bad, 3, 1))
    monkeypatch.setattr("sys.argv", ["faults", "bad", "--seed", "2"])
    assert main() == 1
    assert "2 acts lost" in capsys.readouterr().out
    monkeypatch.setattr("sys.argv", ["faults", "bad", "--seed", "0"])
    assert main() == 0


def test_control_a_slow_disk_shows_whoever_says_done_of_what_was_refused(tmp_path: Path) -> None:
    line = slow_writers(tmp_path, count=8, seed=20261127, role="rash")
    assert line.bad["acts lost"] > 0


def test_control_a_slow_disk_keeps_readers_waiting_who_never_give_up(tmp_path: Path) -> None:
    line = slow_writers(tmp_path, count=8, seed=20261127, patience_s=60.0, late_s=0.0)
    assert line.bad["readers kept waiting"] > 0
