"""Where a ledger and its backups may lie: any path, and none that was mistyped."""

from __future__ import annotations

import os
import pty
import sqlite3
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.ledger import takes_folder
from canebench.store.ledger import open_ledger
from canebench.store.records import ReedRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

ODD = ["a#b", "a?b=c", "50%41", "a@b", "a b&c", "file:x", "a'b\"c", "é;ü", ":memory:", "x\\y"]


def _reeds(path: Path) -> int:
    with open_ledger(str(path)).reading() as reader:
        return reader.count(ReedRecord)


@pytest.mark.parametrize("name", ODD)
def test_any_path_is_kept_backed_up_verified_and_restored(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By its whole path, and from beside it by its name alone."""
    folder = tmp_path / name
    folder.mkdir()
    monkeypatch.chdir(folder)
    backup = folder / f"{name}.backup"
    for path in (str(folder / name), name):
        at = ("--ledger", path)
        assert run("lot", f"lot of {path}", "--count", "3", *at, "--new").exit_code == 0
    assert _reeds(folder / name) == 6
    made = run("backup", str(backup), "--ledger", name)
    assert made.exit_code == 0, made.stderr
    looked = run("verify", str(backup))
    assert looked.exit_code == 0, looked.stdout
    assert run("undo", "--ledger", name).exit_code == 0
    assert _reeds(folder / name) == 3
    assert run("restore", str(backup), "--yes", "--ledger", name).exit_code == 0
    assert _reeds(folder / name) == 6
    assert run("export", "--to", "all.json", "--ledger", name).exit_code == 0
    assert "6 reeds" in " ".join(run("doctor", "--ledger", name).stdout.split())
    # Nothing appeared elsewhere.
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_control_an_address_that_is_not_escaped_leads_elsewhere(tmp_path: Path) -> None:
    for name in ("a#b", "a?b=c", "50%41"):
        open_ledger(str(tmp_path / name))
        raw = sqlite3.connect(f"file:{tmp_path / name}?immutable=1", uri=True)
        with pytest.raises(sqlite3.Error, match=r"unable to open|no such table"):
            raw.execute("SELECT count(*) FROM reeds")
        raw.close()


def test_a_path_may_hold_what_parts_a_scheme(tmp_path: Path) -> None:
    (tmp_path / "a:").mkdir()
    path = f"{tmp_path}/a://ledger.db"
    assert run("lot", "spring", "--count", "1", "--ledger", path, "--new").exit_code == 0
    assert _reeds(tmp_path / "a:" / "ledger.db") == 1


def test_recordings_lie_beside_the_file_however_it_is_named(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    for address in (f"sqlite://{path}", f"sqlite:///{path}", str(path)):
        assert takes_folder(address) == tmp_path / "takes"


@pytest.mark.parametrize("command", ["reed", "history", "undo", "backup", "export", "fit", "play", "lot"])
def test_a_mistyped_ledger_is_refused_and_not_made(tmp_path: Path, command: str) -> None:
    """Control: the right name is taken."""
    right, slip = tmp_path / "band.db", tmp_path / "bond.db"
    open_ledger(str(right))
    more = {
        "backup": [str(tmp_path / "backup")],
        "export": ["--to", str(tmp_path / "all.json")],
        "fit": ["--reed", "1", "--chanter", "x"],
        "play": ["1", "--minutes", "3"],
    }.get(command, [])
    before = sorted(tmp_path.iterdir())
    refused = run(command, *more, "--ledger", str(slip))
    assert refused.exit_code == 5
    said = " ".join(refused.stderr.split())
    assert f"There is no ledger {slip}" in said
    assert f"Did you mean {right}?" in said
    assert ("--new" in said) == (command == "lot")
    assert sorted(tmp_path.iterdir()) == before
    assert f"There is no ledger {slip}" not in run(command, *more, "--ledger", str(right)).stderr


def test_the_ledger_of_ones_own_is_made_without_asking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CANEBENCH_LEDGER", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    # Not for a backup: it would be one of nothing.
    assert run("backup", str(tmp_path / "backup")).exit_code == 5
    assert run("lot", "spring", "--count", "1").exit_code == 0
    assert run("backup", str(tmp_path / "backup")).exit_code == 0


@pytest.mark.parametrize(("typed", "made"), [(b"y\n", True), (b"n\n", False)])
def test_at_a_terminal_it_asks(tmp_path: Path, typed: bytes, made: bool) -> None:
    here, there = pty.openpty()
    os.write(here, typed)
    path = tmp_path / "band.db"
    command = [sys.executable, "-m", "canebench", "lot", "spring", "--count", "1", "--ledger", str(path)]
    done = subprocess.run(command, check=False, stdin=there, capture_output=True, text=True, timeout=60)
    os.close(here)
    os.close(there)
    assert "Begin a new one there?" in done.stderr
    assert (done.returncode, path.exists()) == ((0, True) if made else (130, False))


def test_a_backup_to_where_no_stick_is_plugged_in(tmp_path: Path) -> None:
    """Control: into a folder that is there, it is made."""
    path = tmp_path / "band.db"
    open_ledger(str(path))
    refused = run("backup", str(tmp_path / "stick" / "november"), "--ledger", str(path))
    assert refused.exit_code == 4
    assert f"there is no folder {tmp_path / 'stick'}" in " ".join(refused.stderr.split())
    assert not (tmp_path / "stick").exists()
    (tmp_path / "stick").mkdir()
    assert run("backup", str(tmp_path / "stick" / "november"), "--ledger", str(path)).exit_code == 0
