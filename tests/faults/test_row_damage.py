"""Bits that turned inside rows are told: by `doctor`, and of a backup that was made of such a ledger."""

from __future__ import annotations

import json
import random
import shutil
from functools import partial
from typing import TYPE_CHECKING, Final

import pytest
from click.testing import CliRunner

from canebench.bench.acts.upkeep.check_up import check_up
from canebench.bench.acts.upkeep.safekeeping import check
from canebench.cli.main import cli
from canebench.store.backups.backup import fill, write_backup
from canebench.store.database import LedgerError
from canebench.store.engine import open_database
from canebench.store.ledger import open_ledger
from canebench.store.migrate import make_at
from canebench.store.sqlite import Sqlite, looking
from canebench.store.wholeness.in_parts import rows_in_parts
from canebench.store.wholeness.structure_amiss import structure_amiss
from doors.run import run
from support.flips import everything_in, flips, looked_at
from support.ledgers import amiss_of, take_in

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from click.testing import Result

    from canebench.store.tables import Row

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


def _restored(folder: Path, ledger: Path, *more: str, answer: str | None = None) -> Result:
    words = ["restore", str(folder), "--ledger", str(ledger), *more]
    return CliRunner().invoke(cli, words, input=answer, prog_name="canebench")


def test_restoring_damaged_rows_names_them_and_brings_them_back(ledger: Path, tmp_path: Path) -> None:
    """Control: a backup of the same ledger before is restored without a word of damage."""
    run("backup", str(tmp_path / "whole"), "--ledger", str(ledger))
    _damaged(ledger)
    run("backup", str(tmp_path / "damaged"), "--ledger", str(ledger))
    held = everything_in(ledger)
    for name, amiss in (("whole", []), ("damaged", ["pitch 7 is not as its acts tell"])):
        asked = _restored(tmp_path / name, ledger, answer="n")
        assert ("Pitch 7" in asked.stderr) == bool(amiss)
        done = _restored(tmp_path / name, ledger, "--yes")
        assert done.exit_code == 0
        assert ("Pitch 7 is not as its acts tell: it was damaged" in done.stdout) == bool(amiss)
        assert ("not all of it whole" in done.stdout) == ("earlier backup" in done.stdout) == bool(amiss)
        told = json.loads(_restored(tmp_path / name, ledger, "--yes", "--json").stdout)["amiss"]
        assert [one.partition(":")[0] for one in told] == amiss
        assert looked_at(ledger) == amiss
    assert everything_in(ledger) == held


def test_asking_to_restore_what_is_not_whole_now_says_so_first(ledger: Path, tmp_path: Path) -> None:
    run("backup", str(tmp_path / "backup"), "--ledger", str(ledger))
    (tmp_path / "backup" / "ledger.db").write_bytes(b"")
    asked = _restored(tmp_path / "backup", ledger, answer="y")
    assert asked.exit_code == 7
    assert "Nothing was changed" in asked.stderr
    assert "Put " not in asked.stderr


def test_rows_damaged_in_an_older_backup_are_named_too(ledger: Path, tmp_path: Path) -> None:
    """Its tables are not looked at as they lie in it, only when they have been brought to this revision."""
    old = tmp_path / "old"
    old.mkdir()
    database = Sqlite(old / "ledger.db")
    make_at(database, "0003")
    with database.write() as connection:
        with looking(ledger) as now:
            named = {column["name"] for column in connection.rows("PRAGMA table_info(acts)")}
            kept = partial(rows_in_parts, now)
            fill(connection, lambda table: _without_digests(kept(table), named if table == "acts" else None))
        assert connection.run("UPDATE pitches SET hz = hz + 0.5 WHERE id = 7") == 1
    backup = write_backup(database, None, tmp_path / "backup", at="2026-03-02T19:00:00.000Z")
    assert check(backup) == []
    told = json.loads(_restored(backup, ledger, "--yes", "--json").stdout)["amiss"]
    assert [one.partition(":")[0] for one in told] == ["pitch 7 is not as its acts tell"]


def _without_digests(rows: Iterable[Row], named: set[str] | None) -> Iterator[Row]:
    for row in rows:
        yield {name: value for name, value in row.items() if named is None or name in named}


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
