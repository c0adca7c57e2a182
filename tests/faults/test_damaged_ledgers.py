"""Ledgers with turned bits: `doctor` says it in a sentence, `restore` never has to read them."""

from __future__ import annotations

import errno
import os
import random
import shutil
import sqlite3
import subprocess
import sys
from typing import TYPE_CHECKING, Final

import pytest

from canebench.bench.acts.upkeep.check_up import Found, check_up
from canebench.bench.acts.upkeep.safekeeping import back_up, restore
from canebench.store.database import LedgerError
from canebench.store.ledger import open_ledger
from canebench.store.sqlite import connect
from doors.run import run
from support.ledgers import dump_of, take_in

if TYPE_CHECKING:
    from pathlib import Path

_FLIPS: Final = 240
#: How long a page of the file is, bytes.
_PAGE: Final = 4_096


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with a ledger and its backup."""
    ledger = open_ledger(str(tmp_path / "ledger.db"))
    for name in ("spring", "summer", "autumn"):
        take_in(ledger, name, count=4)
    back_up(str(tmp_path / "ledger.db"), tmp_path / "backup")
    return tmp_path


def _flipped(whole: bytes, chance: random.Random) -> bytes:
    """One bit turned: any, or one that makes of a letter in SQLite's own table what is none."""
    made, at = bytearray(whole), chance.randrange(len(whole))
    if chance.random() < 0.5:
        pages = [start for start in range(0, len(whole), _PAGE) if b"CREATE" in whole[start : start + _PAGE]]
        start = chance.choice(pages)
        at = chance.choice([n for n in range(start, start + _PAGE) if whole[n : n + 1].isalpha()])
        made[at] ^= 0x80
    else:
        made[at] ^= 1 << chance.randrange(8)
    return bytes(made)


def _undecodable(path: Path) -> bool:
    """Whether the driver alone ends in what is none of its own errors."""
    raw = sqlite3.connect(path)
    try:
        raw.execute("SELECT name FROM sqlite_master").fetchall()
        raw.execute("PRAGMA integrity_check").fetchall()
    except UnicodeDecodeError:
        return True
    except sqlite3.Error:
        return False
    finally:
        raw.close()
    return False


def _of_the_ledger(found: list[Found]) -> Found:
    return next(one for one in found if one.what == "Ledger")


def test_a_turned_bit_anywhere(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The control is in it: some of the damages end the driver itself in a `UnicodeDecodeError`."""
    # Only the ledger is looked at: the others take long, and know nothing of it.
    for name in ("_decoder", "_print", "_browser"):
        fine = Found(what=name, verdict="fine", said="not looked at")
        monkeypatch.setattr(f"canebench.bench.acts.upkeep.check_up.{name}", lambda fine=fine: fine)
    path, chance = place / "ledger.db", random.Random(20261127)  # noqa: S311 - damages, not secrets
    whole, before, undecodable = path.read_bytes(), dump_of(open_ledger(str(path))), 0
    for _ in range(_FLIPS):
        path.write_bytes(damaged := _flipped(whole, chance))
        told = _of_the_ledger(check_up(str(path)))
        if _undecodable(path):
            undecodable += 1
            assert told.verdict == "broken"
            assert "damaged" in told.said
        restored = restore(str(path), place / "backup")
        assert restored.kept is not None
        assert restored.kept.read_bytes() == damaged
        restored.kept.unlink()
        assert dump_of(open_ledger(str(path))) == before
    assert undecodable >= _FLIPS // 10


@pytest.mark.parametrize("damage", [b"", b"y", b"no ledger at all", bytes(40_000)])
def test_whatever_lies_there_is_set_aside_as_it_is(place: Path, damage: bytes) -> None:
    path = place / "ledger.db"
    path.write_bytes(damage)
    (place / "ledger.db-journal").write_bytes(b"what an act had left")
    restored = restore(str(path), place / "backup")
    assert restored.kept is not None
    assert restored.kept.read_bytes() == damage
    if damage and set(damage) != {0}:
        # With its journal: without, what an act had begun could not be taken back in it.
        beside = restored.kept.with_name(f"{restored.kept.name}-journal")
        assert beside.read_bytes() == b"what an act had left"
    assert not (place / "ledger.db-journal").exists()
    assert run("reed", "--ledger", str(path)).exit_code == 0


def _no_links(*_: object) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


def _no_room(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("room", [True, False])
def test_where_a_file_can_have_no_second_name(
    place: Path, room: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on FAT: copied, and renamed where there is no room for a copy."""
    path = place / "ledger.db"
    take_in(open_ledger(str(path)), "later")
    later = dump_of(open_ledger(str(path)))
    monkeypatch.setattr(os, "link", _no_links)
    if not room:
        monkeypatch.setattr(shutil, "copyfileobj", _no_room)
    done = run("restore", str(place / "backup"), "--yes", "--ledger", str(path))
    assert done.exit_code == 0, done.stderr
    (kept,) = place.glob("ledger-before-restore-*")
    assert dump_of(open_ledger(str(kept))) == later
    assert dump_of(open_ledger(str(path))) != later


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("room", [True, False])
def test_a_swap_that_fails_leaves_all_as_it_was(
    place: Path, links: bool, room: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = place / "ledger.db"
    path.write_bytes(b"no ledger at all")
    (place / "ledger.db-journal").write_bytes(b"what an act had left")
    before = {one: one.read_bytes() for one in place.iterdir() if one.is_file()}

    def refused(*_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(type(path), "replace", refused)
    if not links:
        monkeypatch.setattr(os, "link", _no_links)
    if not room:
        monkeypatch.setattr(shutil, "copyfileobj", _no_room)
    done = run("restore", str(place / "backup"), "--yes", "--ledger", str(path))
    assert done.exit_code == 7
    assert "Input/output error" in done.stderr
    assert {one: one.read_bytes() for one in place.iterdir() if one.is_file()} == before


def test_a_full_disk_is_said(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {one: one.read_bytes() for one in place.iterdir() if one.is_file()}
    monkeypatch.setattr(shutil, "copyfile", _no_room)
    done = run("restore", str(place / "backup"), "--yes", "--ledger", str(place / "ledger.db"))
    assert done.exit_code == 7
    assert "No space left" in done.stderr
    assert {one: one.read_bytes() for one in place.iterdir() if one.is_file()} == before


def test_a_ledger_that_others_hold_is_not_swapped(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = place / "ledger.db"
    other = connect(path)
    other.execute("BEGIN IMMEDIATE")
    monkeypatch.setattr("canebench.store.sqlite.WAIT_S", 0.0)
    before = path.read_bytes()
    with pytest.raises(LedgerError, match="another program has held it"):
        restore(str(path), place / "backup")
    other.execute("ROLLBACK")
    other.close()
    assert path.read_bytes() == before
    assert list(place.glob("ledger-before-restore-*")) == []
    # Control: let go, it is.
    assert restore(str(path), place / "backup").kept


def test_the_lock_holds_until_a_copy_has_been_swapped(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing the file that was copied would end it: another process could write into what is set aside."""
    path, seen = place / "ledger.db", list[str]()
    monkeypatch.setattr(os, "link", _no_links)
    replace = type(path).replace

    def looked(self: Path, target: Path) -> Path:
        code = "import sqlite3, sys; sqlite3.connect(sys.argv[1], timeout=0).execute('BEGIN IMMEDIATE')"
        done = subprocess.run([sys.executable, "-c", code, str(path)], check=False, capture_output=True)
        seen.append(done.stderr.decode())
        return replace(self, target)

    monkeypatch.setattr(type(path), "replace", looked)
    restore(str(path), place / "backup")
    assert len(seen) == 1
    assert "locked" in seen[0]
