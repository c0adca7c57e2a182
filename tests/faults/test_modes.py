"""Whatever is made is its owner's alone, however wide this machine makes new files."""

from __future__ import annotations

import os
import sqlite3
from typing import TYPE_CHECKING

import pytest

from canebench.base.disk.owner_only import make_folder
from canebench.bench.acts.ledger import the_ledger
from canebench.bench.acts.upkeep.demo_season import make_demo
from canebench.bench.acts.upkeep.safekeeping import back_up, restore
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.recordings import keep_recording
from canebench.web.live.recordings import Recordings
from support.ledgers import take_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AT = "2026-03-02T19:00:00.000Z"

pytestmark = pytest.mark.skipif(os.name != "posix", reason="modes are of POSIX systems")


@pytest.fixture(autouse=True)
def usual_mask() -> Iterator[None]:
    before = os.umask(0o022)
    yield
    os.umask(before)


def _wider(folder: Path) -> list[str]:
    """What lies in a folder and others may read; by its name."""
    return sorted(path.name for path in folder.rglob("*") if path.stat().st_mode & 0o077)


def test_ledger_recordings_snapshots_and_backups(tmp_path: Path) -> None:
    url = str(tmp_path / "pipes" / "bench" / "ledger.db")
    ledger = the_ledger(url)
    take_in(ledger)
    takes = tmp_path / "pipes" / "bench" / "takes"
    kept = takes / f"{keep_recording(takes, lambda path: path.write_bytes(b'one'))}.flac"  # type: ignore[arg-type]
    growing = Recordings(takes / "unfinished").begin(rate_hz=48_000)
    growing.write(bytes(4 * 480))
    growing.finish([240], silence=48)
    keep_snapshot(ledger.database, "before-import", at=AT)
    folder = back_up(url, tmp_path / "pipes" / "backup").folder
    kept.unlink()
    restore(url, folder)
    with ledger.act("x", who="A", said="x"):
        # The journal that SQLite makes takes after its file.
        assert len(list((tmp_path / "pipes" / "bench").iterdir())) >= 3
        assert _wider(tmp_path) == []
    assert len(list(tmp_path.rglob("*"))) > 12
    make_demo(tmp_path / "demo")
    assert _wider(tmp_path) == []


def test_control_what_is_made_the_usual_way_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    sqlite3.connect(tmp_path / "folder" / "usual.db").execute("CREATE TABLE a (b)").connection.close()
    assert _wider(tmp_path) == ["folder", "usual.db"]


def test_what_was_there_stays_as_it_is(tmp_path: Path) -> None:
    """A club may share a ledger; a folder may be anybody's."""
    url = str(tmp_path / "club" / "ledger.db")
    (tmp_path / "club").mkdir(mode=0o755)
    take_in(the_ledger(url))
    (tmp_path / "club" / "ledger.db").chmod(0o660)
    restore(url, back_up(url, tmp_path / "backup").folder)
    take_in(the_ledger(url), "summer")
    make_folder(tmp_path / "club")
    modes = {
        path.name: path.stat().st_mode & 0o777 for path in (tmp_path / "club", tmp_path / "club/ledger.db")
    }
    assert modes == {"club": 0o755, "ledger.db": 0o660}
