"""What killed commands leave is named, swept and bounded; what is being made is left alone."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from canebench.base.disk import in_the_making as making
from canebench.bench.acts.upkeep.check_up import check_up
from canebench.bench.acts.upkeep.safekeeping import back_up, sweep_up, what_is_left
from canebench.store.backups import snapshots as keeping
from canebench.store.backups.left_over import left_parts
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.engine import open_database
from canebench.store.ledger import open_ledger
from support.ledgers import take_in

if TYPE_CHECKING:
    from pathlib import Path

_AT = "2026-03-02T19:00:00.000Z"
#: Stops in the middle of a snapshot, and waits there to be killed.
_SNAPSHOT = """
import sys, time
from canebench.base.disk import in_the_making
from canebench.store.backups import backup
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.engine import open_database
def stop(*_):
    print("half", flush=True)
    time.sleep(600)
backup._seal, in_the_making._BARELY_S = stop, 0.0
keep_snapshot(open_database(sys.argv[1]), "before-import", at="2026-03-02T19:00:00.000Z")
"""


@pytest.fixture
def url(tmp_path: Path) -> str:
    take_in(open_ledger(str(tmp_path / "ledger.db")))
    return str(tmp_path / "ledger.db")


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seconds, where a bench waits an hour."""
    monkeypatch.setattr(making, "_BARELY_S", 0.0)


def _half_a_snapshot(url: str) -> subprocess.Popen[bytes]:
    child = subprocess.Popen([sys.executable, "-c", _SNAPSHOT, url], stdout=subprocess.PIPE)
    assert child.stdout is not None
    assert child.stdout.readline() == b"half\n"
    return child


def _kill(child: subprocess.Popen[bytes]) -> None:
    child.send_signal(signal.SIGKILL)
    child.communicate(timeout=30)


def _found(url: str, monkeypatch: pytest.MonkeyPatch) -> str | None:
    for name in ("_decoder", "_print", "_browser"):
        monkeypatch.setattr(f"canebench.bench.acts.upkeep.check_up.{name}", lambda: None)
    told = [one.said for one in check_up(url) if one is not None and one.what == "Left over"]
    return told[0] if told else None


def test_a_snapshot_of_a_killed_import_is_named_and_swept(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    child = _half_a_snapshot(url)
    # While it is being made nobody takes it away.
    assert what_is_left(url) == []
    assert _found(url, monkeypatch) is None
    keep_snapshot(open_database(url), "before-import", at=_AT)
    assert len(list((tmp_path / "snapshots").glob(".*.part"))) == 1
    _kill(child)
    (left,) = what_is_left(url)
    said = _found(url, monkeypatch)
    assert said is not None
    assert str(left) in said
    keep_snapshot(open_database(url), "before-import", at=_AT)
    assert list((tmp_path / "snapshots").glob(".*")) == []
    assert len(list((tmp_path / "snapshots").iterdir())) == 2


def test_however_often_it_is_killed_one_is_left(url: str, tmp_path: Path) -> None:
    for _ in range(4):
        _kill(_half_a_snapshot(url))
    assert len(list((tmp_path / "snapshots").glob(".*.part"))) == 1


def test_control_without_sweeping_they_pile_up(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _kill(_half_a_snapshot(url))
    for _ in range(2):
        (tmp_path / "snapshots" / f".x.{os.urandom(6).hex()}.part").mkdir()
    monkeypatch.setattr(keeping, "sweep", lambda _: None)
    keep_snapshot(open_database(url), "before-import", at=_AT)
    assert len(list((tmp_path / "snapshots").glob(".*.part"))) == 3


def test_a_backup_sweeps_where_it_goes_and_all_beside_the_ledger(url: str, tmp_path: Path) -> None:
    takes, stick = tmp_path / "takes", tmp_path / "stick"
    takes.mkdir()
    (stick / ".november.0123456789ab.part").mkdir(parents=True)
    old = [
        takes / f".incoming-{'0' * 16}.flac",
        takes / f"..incoming-{'0' * 16}.flac.01234567.part",
        takes / f".{'a' * 64}.flac.01234567",
        tmp_path / ".ledger.db.0123456789ab.restoring",
    ]
    others = [
        takes / f"{'a' * 64}.flac",
        takes / ".hidden",
        tmp_path / ".ledger.db.notes",
        takes / ".incoming-new.flac",
    ]
    for path in (*old, *others):
        path.write_bytes(b"half")
        os.utime(path, (time.time() - 7_200, time.time() - 7_200))
    new = takes / f".incoming-{'1' * 16}.flac"
    new.write_bytes(b"just now")
    assert what_is_left(url) == sorted(old)
    assert len(left_parts(stick)) == 1
    back_up(url, stick / "december")
    assert [path for path in (*old, *others, new) if not path.exists()] == old
    assert [path.name for path in stick.iterdir()] == ["december"]


def test_where_there_are_no_locks_age_tells(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(making, "_FCNTL", None)
    left = tmp_path / "snapshots" / ".x.0123456789ab.part"
    left.mkdir(parents=True)
    with making.in_the_making(left):
        assert what_is_left(url) == []
    os.utime(left, (time.time() - 7_200, time.time() - 7_200))
    sweep_up(url)
    assert not left.exists()
