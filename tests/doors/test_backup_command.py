"""backup, verify and restore as commands."""

from __future__ import annotations

import json
import shutil
from datetime import timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

import pytest

from canebench.store.ledger import BIN_DAYS, open_ledger, utc_now
from canebench.store.records import LotRecord, TakeRecord
from doors.run import run
from support.ledgers import dump_of

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def ledger(season: Path, tmp_path: Path) -> Path:
    shutil.copyfile(season / "ledger.db", tmp_path / "ledger.db")
    return tmp_path / "ledger.db"


def test_there_verified_and_back(ledger: Path, tmp_path: Path) -> None:
    before = dump_of(open_ledger(str(ledger)))
    made = run("backup", str(tmp_path / "backup"), "--ledger", str(ledger), "--json")
    assert made.exit_code == 0
    assert json.loads(made.stdout)["files"] >= 3
    assert run("verify", str(tmp_path / "backup")).exit_code == 0
    assert run("undo", "--ledger", str(ledger)).exit_code == 0
    assert dump_of(open_ledger(str(ledger))) != before
    done = run("restore", str(tmp_path / "backup"), "--yes", "--ledger", str(ledger), "--json")
    assert done.exit_code == 0
    assert dump_of(open_ledger(str(ledger))) == before
    assert open_ledger(json.loads(done.stdout)["kept"])


def test_a_damaged_backup_is_told_and_not_restored(ledger: Path, tmp_path: Path) -> None:
    folder = tmp_path / "backup"
    run("backup", str(folder), "--ledger", str(ledger))
    data = bytearray((folder / "ledger.db").read_bytes())
    data[5_000] ^= 1
    (folder / "ledger.db").write_bytes(data)
    looked = run("verify", str(folder))
    assert looked.exit_code == 7
    assert "ledger.db is not as it was written" in looked.stdout
    before = dump_of(open_ledger(str(ledger)))
    refused = run("restore", str(folder), "--yes", "--ledger", str(ledger))
    assert refused.exit_code == 7
    assert dump_of(open_ledger(str(ledger))) == before


@pytest.mark.parametrize("harm", ["", "missing", "damaged"])
def test_a_backup_says_which_recordings_it_lacks(ledger: Path, tmp_path: Path, harm: str) -> None:
    """Control: of whole ones it says that they are verified."""
    kept, name = tmp_path / "takes", sha256(b"a recording").hexdigest()
    kept.mkdir()
    (kept / f"{name}.flac").write_bytes(b"a recording")
    with open_ledger(str(ledger)).act("fit", who="A", said="x") as act:
        act.update(act.rows(TakeRecord)[0], {"recording_sha256": name})
    if harm == "missing":
        (kept / f"{name}.flac").unlink()
    elif harm:
        (kept / f"{name}.flac").write_bytes(b"a recordinG")
    made = run("backup", str(tmp_path / "backup"), "--ledger", str(ledger))
    looked = run("verify", str(tmp_path / "backup"))
    told = run("backup", str(tmp_path / "again"), "--ledger", str(ledger), "--json")
    codes = {made.exit_code, looked.exit_code, told.exit_code}
    assert ("verified" in made.stdout, "Whole" in looked.stdout, codes) == (
        (True, True, {0}) if not harm else (False, False, {7})
    )
    amiss = [f"recording {name} was {harm} when it was made"] if harm else []
    assert json.loads(told.stdout)["amiss"] == amiss
    for said in (made.stdout, looked.stdout):
        assert all(f"{name} was {harm}" in " ".join(said.split()) for _ in amiss)
    # The rows are whole: they can be had back all the same.
    assert run("restore", str(tmp_path / "backup"), "--yes", "--ledger", str(ledger)).exit_code == 0


def test_it_asks_first(ledger: Path, tmp_path: Path) -> None:
    run("backup", str(tmp_path / "backup"), "--ledger", str(ledger))
    before = ledger.read_bytes()
    assert run("restore", str(tmp_path / "backup"), "--ledger", str(ledger)).exit_code != 0
    assert ledger.read_bytes() == before


def test_what_is_not_there(tmp_path: Path, ledger: Path) -> None:
    assert run("verify", str(tmp_path / "none")).exit_code == 5
    assert run("restore", str(tmp_path / "none"), "--yes", "--ledger", str(ledger)).exit_code == 5
    (tmp_path / "empty").mkdir()
    assert run("verify", str(tmp_path / "empty")).exit_code == 7
    again = run("backup", str(tmp_path / "empty"), "--ledger", str(ledger))
    assert again.exit_code == 4
    assert "never written over" in again.stderr


@pytest.mark.parametrize(("days", "left"), [(BIN_DAYS + 1, 0), (BIN_DAYS - 1, 1)])
def test_what_lay_in_the_bin_for_thirty_days_goes_and_the_backup_has_it(
    ledger: Path, tmp_path: Path, days: int, left: int
) -> None:
    """Control: a day before, it stays."""
    opened = open_ledger(str(ledger), clock=lambda: utc_now() - timedelta(days=days))
    with opened.act("lot", who="A", said="x") as act:
        lot = act.insert("lots", {"name": "never used", "count": 1})
    with opened.act("remove", who="A", said="x") as act:
        act.remove(act.row(LotRecord, lot))
    assert run("backup", str(tmp_path / "backup"), "--ledger", str(ledger)).exit_code == 0
    assert _in_bin(ledger) == left
    assert _in_bin(tmp_path / "backup" / "ledger.db") == 1


def _in_bin(ledger: Path) -> int:
    with open_ledger(str(ledger)).reading() as reader:
        return len(reader.rows(LotRecord, removed=True))
