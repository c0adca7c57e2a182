"""Bits that turned inside rows are told: by `doctor`, and of a backup that was made of such a ledger."""

from __future__ import annotations

import random
import shutil
from typing import TYPE_CHECKING, Final

import pytest

from canebench.bench.acts.upkeep.check_up import check_up
from canebench.bench.acts.upkeep.safekeeping import check
from canebench.store.database import LedgerError
from canebench.store.engine import open_database
from canebench.store.ledger import open_ledger
from canebench.store.migrate import make_at
from canebench.store.sqlite import Sqlite
from canebench.store.wholeness.structure_amiss import structure_amiss
from doors.run import run
from support.flips import everything_in, flips, looked_at
from support.ledgers import amiss_of, take_in

if TYPE_CHECKING:
    from pathlib import Path

_FLIPS: Final = 200


@pytest.fixture
def ledger(season: Path, tmp_path: Path) -> Path:
    shutil.copyfile(season / "ledger.db", tmp_path / "ledger.db")
    return tmp_path / "ledger.db"


def _chance() -> random.Random:
    return random.Random(20261128)  # noqa: S311 - damages, not secrets


def _structure_alone(path: Path) -> list[str]:
    """As it was looked at before."""
    try:
        with open_database(str(path)).read() as connection:
            return structure_amiss(connection)
    except LedgerError as error:
        return [str(error)]


def test_a_turned_bit_is_told_or_changes_nothing(ledger: Path, tmp_path: Path) -> None:
    whole = ledger.read_bytes()
    assert looked_at(ledger) == []
    found = flips(whole, tmp_path / "flipped.db", _chance(), count=_FLIPS)
    assert found.missed == []
    assert found.verdicts["told"] >= _FLIPS // 4
    # Control: a look at the structure alone calls many of them whole.
    before = flips(whole, tmp_path / "flipped.db", _chance(), count=_FLIPS, look=_structure_alone)
    assert before.verdicts["missed"] >= _FLIPS // 10


def test_tables_that_are_not_as_they_were_made_are_told(ledger: Path) -> None:
    """A bit in a letter of their own text makes a small one of a capital: SQLite reads it all the same."""
    whole = ledger.read_bytes()
    ledger.write_bytes(whole.replace(b"tablealembic_versionalembic", b"tableAlembic_versionalembic", 1))
    assert looked_at(ledger) == ["it has tables, and none that says it is a ledger"]
    for text in (b"CREATE TABLE alembic_version", b"CREATE TABLE players", b"CREATE INDEX plays_by_at"):
        ledger.write_bytes(whole.replace(text, text.replace(b"E", b"e", 1), 1))
        (said,) = looked_at(ledger)
        assert text.split()[-1].decode() in said


def _damaged(ledger: Path) -> None:
    with open_database(str(ledger)).write() as connection:
        assert connection.run("UPDATE pitches SET hz = hz + 0.5 WHERE id = 7") == 1


def test_doctor_says_it(ledger: Path) -> None:
    (told,) = [one for one in check_up(str(ledger)) if one.what == "Ledger"]
    assert told.verdict == "fine"
    _damaged(ledger)
    (told,) = [one for one in check_up(str(ledger)) if one.what == "Ledger"]
    assert told.verdict == "broken"
    assert "pitch 7 is not as its acts tell" in told.said


def test_a_backup_of_a_damaged_ledger_is_no_whole_one(ledger: Path, tmp_path: Path) -> None:
    assert run("backup", str(tmp_path / "whole"), "--ledger", str(ledger)).exit_code == 0
    _damaged(ledger)
    done = run("backup", str(tmp_path / "backup"), "--ledger", str(ledger))
    assert done.exit_code == 7
    assert "Pitch 7 is not as its acts tell" in done.stdout
    assert "damaged when it was made" in done.stdout
    assert len(check(tmp_path / "backup")) == 1
    assert check(tmp_path / "whole") == []


def test_what_is_read_of_an_undamaged_file_stays(ledger: Path) -> None:
    """Looking writes nothing; and a damage that was put right is none."""
    before, whole = everything_in(ledger), ledger.read_bytes()
    assert looked_at(ledger) == []
    assert ledger.read_bytes() == whole
    _damaged(ledger)
    assert everything_in(ledger) != before
    with open_database(str(ledger)).write() as connection:
        connection.run("UPDATE pitches SET hz = hz - 0.5 WHERE id = 7")
    assert looked_at(ledger) == []


def test_acts_go_on_in_a_damaged_ledger_and_the_damage_stays_told(ledger: Path) -> None:
    _damaged(ledger)
    opened = open_ledger(str(ledger))
    take_in(opened, "later")
    assert amiss_of(opened) == ["pitch 7 is not as its acts tell"]


def test_a_ledger_of_the_first_toolkit_is_no_damaged_one(tmp_path: Path) -> None:
    """It wrote the table that holds the revision in words of its own."""
    path = tmp_path / "first.db"
    make_at(Sqlite(path), "0002")
    with Sqlite(path).write() as connection:
        connection.run("DROP TABLE alembic_version")
        connection.run(
            "CREATE TABLE alembic_version (\n\tversion_num VARCHAR(32) NOT NULL, \n\t"
            "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)\n)"
        )
        connection.run("INSERT INTO alembic_version VALUES ('0002')")
    assert amiss_of(open_ledger(str(path))) == []
