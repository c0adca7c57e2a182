"""The power cut in fits, recordings, backups and restores: all that was told is there, and nothing half.

The commands are done once, every operation on their files written down (`support/traced_files`); cuts are
made of that, here some hundreds, by `benchmarks/faults power-files` thousands.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest

from support.traced_cuts import Found, Traced, cut_often, traced
from support.traced_disk import TracedDisk

if TYPE_CHECKING:
    from pathlib import Path

_CUTS: Final = 250


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the commands were done."""
    return tmp_path_factory.mktemp("traced")


@pytest.fixture(scope="module")
def usual(place: Path) -> Traced:
    """As the commands are."""
    return traced(place)


def _lesser(folder: Path, setting: str) -> Found:
    return cut_often(folder, traced(folder, setting), cuts=_CUTS, ordered=False, seed=1)


@pytest.mark.parametrize("ordered", [False, True])
def test_a_power_cut_loses_nothing_and_leaves_nothing_half(
    usual: Traced, tmp_path: Path, ordered: bool
) -> None:
    found = cut_often(tmp_path, usual, cuts=_CUTS, ordered=ordered, seed=2)
    assert found.amiss == ()
    assert found.looked_at > _CUTS // 4


def test_the_trace_is_what_was_done(usual: Traced, place: Path) -> None:
    """Done again to its end, the folder is as the commands left it: nothing escaped the trace."""
    disk = TracedDisk(usual.start, usual.numbers)
    for one in usual.operations:
        if one[0] != "told":
            disk.do(one)
    work = place / "work"
    assert disk.live() == {
        path.relative_to(work).as_posix(): None if path.is_dir() else path.read_bytes()
        for path in work.rglob("*")
    }


def test_control_acts_are_lost_where_a_journal_may_come_back(tmp_path: Path) -> None:
    assert _lesser(tmp_path, "FULL").count("act lost") > 0


def test_control_without_any_sync_of_sqlite_the_ledger_is_damaged(tmp_path: Path) -> None:
    assert _lesser(tmp_path, "OFF").count("ledger damaged") > 0


def test_control_where_files_are_not_synced_backups_and_recordings_are_lost(tmp_path: Path) -> None:
    found = _lesser(tmp_path, "unsynced")
    assert found.count("backup lost", "backup damaged") > 0
    assert found.count("recording lost") > 0
    assert found.count("ledger lost", "ledger damaged", "ledger from before") > 0
