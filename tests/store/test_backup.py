"""Backups on both databases: there and back, while others write, and never half."""

from __future__ import annotations

import json
import shutil
import sqlite3
from threading import Event, Thread
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError
from canebench.store import migrate as migrating
from canebench.store.backups.backup import write_backup
from canebench.store.backups.restore import restore_backup
from canebench.store.backups.snapshots import KEPT, keep_snapshot, snapshots
from canebench.store.backups.verify import MANIFEST, SEAL, seal_of, verify_backup
from canebench.store.database import LedgerError
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.schema import HEAD
from canebench.store.sqlite import Sqlite
from support.ledgers import dump_of, last_act, take_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

AT = "2026-03-02T19:00:00.000Z"


@pytest.fixture
def takes(tmp_path: Path) -> Path:
    folder = tmp_path / "takes"
    folder.mkdir()
    (folder / f"{'a' * 64}.flac").write_bytes(b"a recording")
    (folder / ".incoming.flac").write_bytes(b"half a one")
    return folder


@pytest.fixture(autouse=True)
def own_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A server's snapshots go to the user's own data: here a folder of the test's."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def test_there_and_back(ledger: Ledger, takes: Path, tmp_path: Path) -> None:
    take_in(ledger)
    ledger.undo(last_act(ledger), who="tester")
    take_in(ledger, "summer")
    before = dump_of(ledger)
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    assert verify_backup(folder) == []
    assert sorted(path.name for path in (folder / "takes").iterdir()) == [f"{'a' * 64}.flac"]
    take_in(ledger, "later")
    (takes / f"{'a' * 64}.flac").unlink()
    assert dump_of(ledger) != before
    restored = restore_backup(folder, ledger.database, takes, at=AT)
    assert dump_of(ledger) == before
    assert restored.recordings == 1
    assert restored.kept is not None
    # What follows goes on counting where the backup left off.
    take_in(ledger, "after")


def test_what_was_there_is_kept(ledger: Ledger, takes: Path, tmp_path: Path) -> None:
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    take_in(ledger, "later")
    later = dump_of(ledger)
    restored = restore_backup(folder, ledger.database, takes, at=AT)
    assert restored.kept is not None
    if restored.kept.is_dir():
        restore_backup(restored.kept, ledger.database, takes, at=AT)
        assert dump_of(ledger) == later
    else:
        assert dump_of(open_ledger(str(restored.kept))) == later


def test_into_a_place_where_nothing_is(
    dialect: str, fresh: Callable[[str], str], tmp_path: Path, takes: Path
) -> None:
    ledger = open_ledger(fresh(dialect))
    take_in(ledger)
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    if dialect == "sqlite":
        place = Sqlite(tmp_path / "elsewhere" / "ledger.db")
        restore_backup(folder, place, tmp_path / "elsewhere" / "takes", at=AT)
        assert dump_of(open_ledger(str(place.path))) == dump_of(ledger)
    else:
        other = open_ledger(fresh(dialect))
        restore_backup(folder, other.database, tmp_path / "elsewhere", at=AT)
        assert dump_of(other) == dump_of(ledger)
    assert list((tmp_path / "elsewhere").rglob("*.flac"))


def test_while_others_write(ledger: Ledger, tmp_path: Path) -> None:
    """Every backup is one state: the counts of its manifest hold, and no act is there by halves."""
    stop = Event()
    failed: list[BaseException] = []

    def write() -> None:
        count = 0
        try:
            while not stop.is_set():
                count += 1
                take_in(ledger, f"lot {count}")
        except BaseException as error:  # noqa: BLE001 - handed on below
            failed.append(error)

    writer = Thread(target=write)
    writer.start()
    try:
        for n in range(8):
            folder = write_backup(ledger.database, None, tmp_path / f"backup{n}", at=AT)
            assert verify_backup(folder) == []
            rows = json.loads((folder / MANIFEST).read_text())["rows"]
            assert rows["reeds"] == 2 * rows["lots"]
            assert rows["acts"] == rows["lots"]
    finally:
        stop.set()
        writer.join()
    assert not failed


def test_nothing_is_written_over(ledger: Ledger, tmp_path: Path) -> None:
    (tmp_path / "backup").mkdir()
    with pytest.raises(InputError, match="never written over"):
        write_backup(ledger.database, None, tmp_path / "backup", at=AT)


def test_a_backup_that_fails_leaves_nothing(
    ledger: Ledger, takes: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", full)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match="No space left"):
        write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    assert sorted(tmp_path.iterdir()) == before


def test_a_damaged_backup_is_not_restored(ledger: Ledger, takes: Path, tmp_path: Path) -> None:
    folder = write_backup(ledger.database, takes, tmp_path / "backup", at=AT)
    (folder / "takes" / f"{'a' * 64}.flac").write_bytes(b"another one")
    take_in(ledger)
    before = dump_of(ledger)
    with pytest.raises(LedgerError, match="not as it was written"):
        restore_backup(folder, ledger.database, takes, at=AT)
    assert dump_of(ledger) == before


def test_a_hostile_manifest_names_nothing_outside(ledger: Ledger, tmp_path: Path) -> None:
    folder = write_backup(ledger.database, None, tmp_path / "backup", at=AT)
    for name in ("../elsewhere", "/etc/passwd", "takes/../../elsewhere"):
        manifest = json.loads((folder / MANIFEST).read_text())
        manifest["files"][name] = {"bytes": 1, "sha256": ""}
        text = json.dumps(manifest).encode()
        (folder / MANIFEST).write_bytes(text)
        (folder / SEAL).write_bytes(seal_of(text))
        assert "outside" in verify_backup(folder)[0]


def test_the_newest_snapshots_stay(ledger: Ledger) -> None:
    made = [
        keep_snapshot(ledger.database, "before-import", at=f"2026-03-02T19:{n:02}:00Z") for n in range(13)
    ]
    kept = snapshots(ledger.database)
    assert len(kept) == KEPT
    assert set(kept) == set(made[-KEPT:])
    assert all(verify_backup(path) == [] for path in kept)


def _no_more(*_: object) -> None:
    raise RuntimeError("no way from 0000")


def test_a_snapshot_is_kept_before_a_migration(
    dialect: str, fresh: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An older ledger: here one that says so."""
    url = fresh(dialect)
    ledger = open_ledger(url)
    take_in(ledger)
    assert snapshots(ledger.database) == []
    with ledger.database.write() as connection:
        connection.run("UPDATE alembic_version SET version_num = '0000'")
    monkeypatch.setattr(migrating, "REVISIONS", (("0000", _no_more), (HEAD, _no_more)))
    with pytest.raises(RuntimeError, match="no way from 0000"):
        open_ledger(url)
    (kept,) = snapshots(ledger.database)
    assert kept.name.endswith("before-migration")
    assert json.loads((kept / MANIFEST).read_text())["revision"] == "0000"
    assert verify_backup(kept) == []


def test_a_new_ledger_takes_no_snapshot(dialect: str, empty_place: Callable[[str], str]) -> None:
    assert snapshots(open_ledger(empty_place(dialect)).database) == []


def test_a_ledger_left_in_the_middle_of_an_act_is_recovered_first(tmp_path: Path) -> None:
    """What is kept from before a restore is a whole ledger, not one that lacks its journal."""
    path = tmp_path / "ledger.db"
    ledger = open_ledger(str(path))
    take_in(ledger)
    folder = write_backup(ledger.database, None, tmp_path / "backup", at=AT)
    torn = tmp_path / "torn"
    torn.mkdir()
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA cache_size=1")
    raw.execute("BEGIN IMMEDIATE")
    for n in range(500):
        raw.execute("INSERT INTO counters VALUES (?, 1)", [f"torn {n}" + "x" * 200])
    for name in (path.name, f"{path.name}-journal"):
        if (tmp_path / name).exists():
            shutil.copyfile(tmp_path / name, torn / name)
    raw.execute("ROLLBACK")
    raw.close()
    restored = restore_backup(folder, Sqlite(torn / path.name), tmp_path / "takes", at=AT)
    assert restored.kept is not None
    assert dump_of(open_ledger(str(restored.kept))) == dump_of(ledger)
    assert dump_of(open_ledger(str(torn / path.name))) == dump_of(ledger)
