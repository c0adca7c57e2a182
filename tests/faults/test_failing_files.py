"""Any operation on files fails, of any command that writes: the old state or the new, and a sentence.

Here some of them; `benchmarks/faults io` has them all.
"""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING, Final

import pytest

from canebench.base import whole_file
from support.failing_commands import QUICK, SLOW, outcomes, prepared

if TYPE_CHECKING:
    from pathlib import Path

#: Of each command so many operations, spread over it.
_RUNS: Final = 5
_EVERY: Final = {
    "new ledger": 26,
    "migrate": 24,
    "export xlsx": 16,
    "export csv": 15,
    "import": 17,
    "backup": 16,
}


@pytest.fixture(scope="module")
def start(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return prepared(tmp_path_factory.mktemp("failing") / "start")


@pytest.mark.parametrize("name", QUICK)
def test_a_failing_operation_is_said_and_leaves_nothing_half_done(
    start: Path, tmp_path: Path, name: str
) -> None:
    found = outcomes(start, tmp_path / "work", QUICK[name], every=_EVERY.get(name, 8), first=2, most=_RUNS)
    assert [one for one in found if one.amiss] == []
    assert sum(one.failed is not None for one in found) >= 2


@pytest.mark.parametrize(("name", "first"), [("synth", 6), ("fit", 29)])
def test_a_recording_that_cannot_be_written_is_said(
    start: Path, tmp_path: Path, name: str, first: int
) -> None:
    """What the encoder is told by the disk reaches it through C; so does what it then says."""
    found = outcomes(start, tmp_path / "work", SLOW[name], every=11, first=first, most=3)
    assert [one for one in found if one.amiss] == []
    assert any(one.failed == "write" for one in found)


def test_a_disk_that_stays_full_is_said(start: Path, tmp_path: Path) -> None:
    """From the n-th operation on nothing can be written or taken away."""
    for name in ("lot", "export xlsx"):
        found = outcomes(start, tmp_path / "work", QUICK[name], every=9, most=_RUNS, lasting=True)
        assert [one for one in found if one.amiss] == []


def test_control_what_is_written_in_its_place_is_noticed(
    start: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A writer that lets the system's error through, and one that leaves half a file beside."""

    def bare(path: Path, content: bytes, *, field: str) -> Path:
        beside = path.with_name(f".{field}")
        with beside.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        return beside

    monkeypatch.setattr(whole_file, "_written_beside", bare)
    found = outcomes(start, tmp_path / "work", QUICK["fit to a file"], first=20)
    said = " ".join(one for outcome in found for one in outcome.amiss)
    assert re.search(r"traceback: (OSError|PermissionError)", said)
    assert "left behind: out/.fitting file" in said
