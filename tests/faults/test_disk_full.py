"""A disk that is full or may only be read: an act is entire or not at all, and the refusal says why."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

import apsw
import pytest

from canebench.store.database import LedgerError
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.migrate import migrate
from canebench.store.records import PlayerRecord, ReedRecord
from canebench.store.sqlite import SETTINGS, Sqlite, connect
from support.ledgers import dump_of, take_in
from support.power_cut_disk import Disk, DiskDatabase

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

    from canebench.store.tables import Row

_CHILD: Final = Path(__file__).parent / "refused_child.py"
_POINTS: Final = 20


def _children_acts(path: Path, mode: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, str(_CHILD), str(path), mode],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return done.stdout.splitlines()


def _check(path: Path, lines: list[str], reason: str) -> int:
    """Every act that was told done is there entire, no other at all; how many were refused for the reason."""
    done = {int(line.split()[0]) for line in lines if line.endswith(" done")}
    refused = [line for line in lines if " refused " in line]
    assert len(done) + len(refused) == len(lines)
    for line in refused:
        assert f"ledger {path}: " in line
        assert line.endswith("Nothing was changed.")
    with open_ledger(str(path)).reading() as reader:
        names = {row.name for row in reader.rows(PlayerRecord)}
        said = {int(act.said) for act in reader.history(limit=100)}
        whole = reader.connection.rows("PRAGMA integrity_check")
    assert names == {f"{number}" for number in done} | {f"{number} too" for number in done}
    assert said == done
    assert [dict(row) for row in whole] == [{"integrity_check": "ok"}]
    return sum(reason in line for line in refused)


@pytest.fixture
def place() -> Iterator[Path]:
    """A ledger's file in a folder that others may enter."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.db"
        open_ledger(str(path))
        yield path
        Path(folder).chmod(0o700)


def test_a_file_that_may_not_grow(place: Path) -> None:
    """Twenty sizes, from nothing to more than enough."""
    lines = _children_acts(place, "limit")
    assert len(lines) == _POINTS
    assert _check(place, lines, "the disk") >= 5
    assert lines[-1].endswith(" done")


@pytest.mark.parametrize("writable", ["file", "folder", "neither"])
def test_a_ledger_that_may_only_be_read(place: Path, writable: str) -> None:
    place.chmod(0o666 if writable == "file" else 0o444)
    place.parent.chmod(0o777 if writable == "folder" else 0o555)
    (line,) = _children_acts(place, "readonly")
    place.parent.chmod(0o700)
    place.chmod(0o600)
    assert _check(place, [line], "it may only be read") == 1
    (line, *_) = _children_acts(place, "plain")
    assert line == "0 done"


def test_a_new_ledger_for_which_there_is_no_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's own limit of pages stands for the disk's: migrating fails in words and leaves no tables."""
    path = tmp_path / "ledger.db"
    database = Sqlite(path)

    def smaller(path: Path) -> sqlite3.Connection:
        raw = connect(path)
        raw.execute("PRAGMA max_page_count=10")
        return raw

    monkeypatch.setattr("canebench.store.sqlite.connect", smaller)
    with pytest.raises(LedgerError, match=r"the disk is full\. Nothing was changed"):
        migrate(database)
    with database.read() as connection:
        assert connection.rows("SELECT name FROM sqlite_master") == []
    monkeypatch.undo()
    assert take_in(open_ledger(str(path)))[0] == 1


def _refused_after(empty: bytes, room: int, error: type[apsw.Error]) -> tuple[Ledger, Disk]:
    """A ledger on a disk that takes so many bytes more, and then refuses."""
    disk = Disk({"ledger.db": empty})
    left = room

    def ask(size: int) -> None:
        nonlocal left
        left -= size
        if left < 0:
            raise error("refused")

    disk.before_write = ask
    return Ledger(DiskDatabase(disk, "ledger.db", SETTINGS)), disk


def _states(empty: bytes) -> tuple[dict[str, list[Row]], int]:
    disk = Disk({"ledger.db": empty})
    written = 0

    def count(size: int) -> None:
        nonlocal written
        written += size

    disk.before_write = count
    ledger = Ledger(DiskDatabase(disk, "ledger.db", SETTINGS))
    before = dump_of(ledger)
    take_in(ledger, count=5)
    return before, written


@pytest.mark.parametrize("error", [apsw.FullError, apsw.ReadOnlyError, apsw.IOError])
@pytest.mark.parametrize("point", range(_POINTS))
def test_a_write_refused_at_any_point_of_an_act(place: Path, point: int, error: type[apsw.Error]) -> None:
    """In the journal, between the two, in the file: as it was before, and the next act succeeds."""
    empty = place.read_bytes()
    before, written = _states(empty)
    ledger, disk = _refused_after(empty, point * written // _POINTS, error)
    with pytest.raises(apsw.Error, match="refused"):
        take_in(ledger, count=5)
    disk.before_write = lambda _: None
    assert dump_of(ledger) == before
    take_in(ledger, count=5)
    with ledger.reading() as reader:
        assert reader.count(ReedRecord) == 5
        assert reader.connection.rows("PRAGMA integrity_check") == [{"integrity_check": "ok"}]


@pytest.mark.skipif(os.getuid() != 0, reason="only root can mount a small disk; the other tests need none")
def test_a_small_disk_that_fills_up(tmp_path: Path) -> None:
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", str(small)], check=False, capture_output=True
    )
    if mounted.returncode:
        pytest.skip("this root may not mount: the other tests need no mount")
    try:
        path = small / "ledger.db"
        open_ledger(str(path))
        lines = _children_acts(path, "plain")
        assert _check(path, lines, "the disk is full") >= 1
        assert lines[0] == "0 done"
    finally:
        subprocess.run(["umount", str(small)], check=True, capture_output=True)
