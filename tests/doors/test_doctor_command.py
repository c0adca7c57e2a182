"""doctor: what is amiss is found, and said with what to do."""

from __future__ import annotations

import json
import os
import shutil
import webbrowser
from hashlib import sha256
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.upkeep import check_up as looking
from canebench.store.ledger import open_ledger
from canebench.store.records import TakeRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def ledger(season: Path, tmp_path: Path) -> Path:
    shutil.copyfile(season / "ledger.db", tmp_path / "ledger.db")
    return tmp_path / "ledger.db"


def verdicts(ledger: Path) -> dict[str, str]:
    done = run("doctor", "--json", "--ledger", str(ledger))
    found = json.loads(done.stdout)
    assert (done.exit_code == 7) == any(one["verdict"] == "broken" for one in found)
    assert all(one["do"] for one in found if one["verdict"] != "fine")
    return {one["what"]: one["verdict"] for one in found}


def test_all_is_fine(ledger: Path) -> None:
    found = verdicts(ledger)
    assert set(found) == {"SQLite", "Ledger", "Folder", "Disk", "Takes", "Sound", "Print", "Browser"}
    assert set(found.values()) <= {"fine", "look"}
    assert found["Ledger"] == found["Sound"] == found["Takes"] == "fine"
    text = run("doctor", "--ledger", str(ledger)).stdout
    assert "journal" in text
    assert "24 reeds" in text


def test_looking_changes_nothing(ledger: Path, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    verdicts(ledger)
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    verdicts(tmp_path / "none" / "ledger.db")
    assert not (tmp_path / "none").exists()


def test_a_damaged_ledger(ledger: Path) -> None:
    data = bytearray(ledger.read_bytes())
    data[8_192:40_000] = bytes(40_000 - 8_192)
    ledger.write_bytes(data)
    assert verdicts(ledger)["Ledger"] == "broken"


def test_a_recording_that_is_missing_or_changed(ledger: Path) -> None:
    sound = b"a recording"
    name = sha256(sound).hexdigest()
    with open_ledger(str(ledger)).act("fit", who="tester", said="a take") as act:
        take = act.rows(TakeRecord)[0]
        act.update(take, {"recording_sha256": name})
    assert verdicts(ledger)["Takes"] == "broken"
    takes = ledger.parent / "takes"
    takes.mkdir()
    (takes / f"{name}.flac").write_bytes(sound)
    assert verdicts(ledger)["Takes"] == "fine"
    (takes / f"{name}.flac").write_bytes(sound + b"!")
    assert verdicts(ledger)["Takes"] == "broken"


def test_little_disk_and_no_rights(ledger: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = shutil.disk_usage(ledger.parent)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=10_000_000))
    monkeypatch.setattr(os, "access", lambda *_: False)
    found = verdicts(ledger)
    assert found["Disk"] == "look"
    assert found["Folder"] == "broken"


def test_a_decoder_that_does_not_work(ledger: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(_: object) -> None:
        raise OSError("no decoder")

    monkeypatch.setattr(looking, "read_recording", fails)
    assert verdicts(ledger)["Sound"] == "broken"


def test_no_browser(ledger: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise webbrowser.Error

    monkeypatch.setattr(shutil, "which", lambda _: None)
    monkeypatch.setattr(webbrowser, "get", none)
    assert verdicts(ledger)["Browser"] == "look"
