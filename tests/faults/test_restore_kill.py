"""A restore that is killed at any touch of the disk leaves the old ledger or the new one, never neither."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from canebench.store.backups.backup import write_backup
from canebench.store.ledger import open_ledger
from support.ledgers import dump_of, take_in

if TYPE_CHECKING:
    from canebench.store.tables import Row

_CHILD = Path(__file__).with_name("restoring_child.py")
_MOST_STEPS = 40


@pytest.mark.parametrize("disk", ["links", "no-links"])
def test_old_or_new_whenever_it_is_killed(tmp_path: Path, disk: str) -> None:
    """Also where a file can have no second name, as on a stick with FAT."""
    ledger = open_ledger(str(tmp_path / "ledger.db"))
    take_in(ledger)
    takes = tmp_path / "takes"
    takes.mkdir()
    (takes / f"{'a' * 64}.flac").write_bytes(b"a recording")
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at="2026-03-02T19:00:00.000Z")
    new = dump_of(ledger)
    take_in(ledger, "later")
    old = dump_of(ledger)
    seen = set()
    for step in range(_MOST_STEPS):
        place = tmp_path / f"step{step}"
        place.mkdir()
        shutil.copyfile(tmp_path / "ledger.db", place / "ledger.db")
        ended = restored(folder, place, step, disk)
        found = state(place / "ledger.db", old, new)
        seen.add(found)
        if ended == 0:
            assert found == "new"
            assert list((place / "takes").glob("a*.flac"))
            break
        assert ended == 9
        # And once more, undisturbed: whatever was left half way is in nobody's way.
        assert restored(folder, place, 10_000, disk) == 0
        assert state(place / "ledger.db", old, new) == "new"
    else:
        pytest.fail("it never came to an end")
    assert seen == {"old", "new"}
    assert step >= 6


def test_a_ledger_that_is_neither_would_be_noticed(tmp_path: Path) -> None:
    """The control: what a swap without a second name would leave for a moment is told from both."""
    ledger = open_ledger(str(tmp_path / "ledger.db"))
    take_in(ledger)
    assert state(tmp_path / "none.db", dump_of(ledger), dump_of(ledger)) == "neither"


def restored(folder: Path, place: Path, step: int, disk: str) -> int:
    given = [str(folder), str(place / "ledger.db"), str(place / "takes"), str(step), disk]
    return subprocess.run([sys.executable, str(_CHILD), *given], check=False).returncode


def state(path: Path, old: dict[str, list[Row]], new: dict[str, list[Row]]) -> str:
    if not path.exists():
        return "neither"
    found = dump_of(open_ledger(str(path)))
    return "old" if found == old else "new" if found == new else "neither"
