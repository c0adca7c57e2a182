"""Migrations: an old ledger comes up to date in one transaction, or stays as it was."""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from canebench.store import migrate as migrating
from canebench.store.backups.restore import restore_backup
from canebench.store.backups.snapshots import snapshots
from canebench.store.backups.verify import MANIFEST, verify_backup
from canebench.store.database import LedgerError
from canebench.store.engine import open_database
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.migrate import migrate, revision_of
from canebench.store.migrations.versions import REVISIONS
from canebench.store.records import ChanterRecord, LotRecord, ReedRecord, SettingRecord, TapeRecord
from canebench.store.schema import HEAD
from support.ledgers import amiss_of, dump_of, row_of, take_in

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from canebench.store.database import Connection


def _fails_half_way(connection: Connection, dialect: str) -> None:
    connection.run("CREATE TABLE half_made (id INTEGER)")
    connection.run("INSERT INTO nowhere VALUES (?)", (dialect,))


def _breaks_references(connection: Connection, dialect: str) -> None:
    assert dialect == "sqlite"
    connection.run("DELETE FROM lots")


_OLD_ROWS = (
    "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)",
    "INSERT INTO alembic_version VALUES ('0001')",
    "INSERT INTO counters VALUES ('acts', 1), ('lots', 2), ('reeds', 3)",
    "INSERT INTO acts VALUES (1, '2026-01-02T03:04:05.678Z', 'Morag', 'take-in', 'spring', NULL, NULL)",
    "INSERT INTO lots (id, version, name, count) VALUES (2, 1, 'spring', 1)",
    "INSERT INTO reeds (id, version, number, lot_id, state, state_since) "
    "VALUES (3, 1, 'A3', 2, 'new', '2026-01-02T03:04:05.678Z')",
    """INSERT INTO changes VALUES (1, 1, 'lots', 2, NULL, '{"id": 2, "version": 1}')""",
    """INSERT INTO changes VALUES (1, 2, 'reeds', 3, NULL, '{"id": 3, "version": 1}')""",
)


def _told(**row: object) -> str:
    """A row as a change tells it."""
    return json.dumps({"removed_at": None, **row}, sort_keys=True)


_CHANTER = {"id": 4, "player_id": None, "chanter_toml": None, "fitting_json": None, "remarks": None}
_SETTING = {"id": 6, "reed_id": 3, "chanter_id": 4, "at": "2026-01-03T03:04:05.678Z", "pinches": 1}
_CHANTERS = [_told(**_CHANTER, version=1, name="old"), _told(**_CHANTER, version=2, name="number 3")]
_SETTINGS = [
    _told(**_SETTING, version=1, seat_mm=0.5, seat_sd_mm=0.1, hemp_turns=None, remarks="Morag's"),
    _told(**_SETTING, version=2, seat_mm=0.7, seat_sd_mm=0.1, hemp_turns=14.0, remarks="Morag's"),
]
#: Rows with something in every column that went in 0002, and acts on them that can be undone.
_FILLED_ROWS = (
    *_OLD_ROWS,
    "UPDATE counters SET used = 3 WHERE name = 'acts'",
    "INSERT INTO acts VALUES (2, '2026-01-03T03:04:05.678Z', 'Morag', 'chanter', 'renamed it', NULL, NULL)",
    "INSERT INTO acts VALUES (3, '2026-01-04T03:04:05.678Z', 'Morag', 'fit', 'seated it', NULL, NULL)",
    """INSERT INTO chanters (id, version, name, fitting_json) VALUES (4, 2, 'number 3', NULL)""",
    """INSERT INTO chanters (id, version, name, fitting_json) VALUES (5, 1, 'number 4', '{}')""",
    "INSERT INTO settings (id, version, reed_id, chanter_id, at, seat_mm, seat_sd_mm, hemp_turns, pinches, "
    "remarks) VALUES (6, 2, 3, 4, '2026-01-03T03:04:05.678Z', 0.7, 0.1, 14.0, 1, 'Morag''s'), "
    "(7, 1, 3, 4, '2026-01-02T03:04:05.678Z', 0.0, NULL, 2.5, NULL, NULL), "
    "(8, 1, 3, 4, '2026-01-02T03:04:05.678Z', 0.0, NULL, NULL, NULL, 'bare')",
    "INSERT INTO tapes (id, version, setting_id, hole, covered_mm, covered_sd_mm) "
    "VALUES (9, 1, 6, 'E', 1.5, 0.2)",
)
_CHANGES: tuple[tuple[int | str, ...], ...] = (
    (2, 1, "chanters", 4, *_CHANTERS),
    (3, 1, "settings", 6, *_SETTINGS),
)


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_new_place_comes_to_the_newest_revision_once(
    empty_place: Callable[[str], str], dialect: str
) -> None:
    database = open_database(empty_place(dialect))
    assert revision_of(database) is None
    migrate(database)
    assert revision_of(database) == HEAD
    ledger = Ledger(database)
    take_in(ledger)
    before = dump_of(ledger)
    migrate(database)
    assert revision_of(database) == HEAD
    assert dump_of(ledger) == before


def _released(url: str, rows: tuple[str, ...], *, changes: Sequence[Sequence[int | str]] = ()) -> None:
    """A ledger of revision 0001 with these rows, made by hand from what was released."""
    database = open_database(url)
    released = files("canebench.store.migrations.versions").joinpath(f"r0001_{database.dialect}.sql")
    with database.write() as connection:
        for statement in (*released.read_text("utf-8").split(";\n")[:-1], *rows):
            connection.run(statement)
        for values in changes:
            connection.run("INSERT INTO changes VALUES (?, ?, ?, ?, ?, ?)", values)


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_every_released_ledger_comes_up_to_date_with_its_rows(
    empty_place: Callable[[str], str], dialect: str
) -> None:
    """Made by hand from what was released, not by the migrations under test."""
    url = empty_place(dialect)
    _released(url, _OLD_ROWS)
    ledger = open_ledger(url)
    assert revision_of(ledger.database) == HEAD
    with ledger.reading() as reader:
        assert reader.row(ReedRecord, 3).number == "A3"
        (act,) = reader.story(LotRecord, 2)
        assert act.who == "Morag"
    ledger.undo(1, who="Ailsa")
    assert take_in(ledger, "autumn")[0] == 3


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_columns_that_go_leave_their_rows_and_what_can_be_undone(
    empty_place: Callable[[str], str], dialect: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    url = empty_place(dialect)
    _released(url, _FILLED_ROWS, changes=_CHANGES)
    ledger = open_ledger(url)
    dump = dump_of(ledger)
    assert [row["name"] for row in dump["chanters"]] == ["number 3", "number 4"]
    assert [row["remarks"] for row in dump["settings"]] == [
        "Morag's; hemp: 14 turns",
        "hemp: 2.5 turns",
        "bare",
    ]
    assert [row["seat_mm"] for row in dump["settings"]] == [0.7, 0.0, 0.0]
    assert [(row["hole"], row["covered_mm"]) for row in dump["tapes"]] == [("E", 1.5)]
    gone = ("fitting_json", "seat_sd_mm", "hemp_turns", "covered_sd_mm")
    assert [name for name in gone if name in json.dumps(dump)] == []
    # What was done before can be undone after, and undone again.
    # Every act has its digest; of some rows no act tells here.
    assert [one for one in amiss_of(ledger) if one.startswith(("act ", "table"))] == []
    undoing = [ledger.undo(act, who="Ailsa") for act in (3, 2)]
    assert row_of(ledger, ChanterRecord, 4).name == "old"
    setting = row_of(ledger, SettingRecord, 6)
    assert (setting.seat_mm, setting.remarks) == (0.5, "Morag's")
    ledger.undo(undoing[0], who="Ailsa")
    assert row_of(ledger, SettingRecord, 6).remarks == "Morag's; hemp: 14 turns"
    # Nothing is lost: a snapshot from before is kept, whole.
    (kept,) = snapshots(ledger.database)
    assert verify_backup(kept) == []
    assert json.loads((kept / MANIFEST).read_text())["revision"] == "0001"


def test_a_backup_of_an_older_revision_comes_back_and_up_to_date(
    empty_place: Callable[[str], str], tmp_path: Path
) -> None:
    url = empty_place("sqlite")
    _released(url, _FILLED_ROWS, changes=_CHANGES)
    ledger = open_ledger(url)
    before = dump_of(ledger)
    with ledger.act("fit", who="Ailsa", said="tore it") as act:
        act.remove(row_of(ledger, TapeRecord, 9))
    (kept,) = snapshots(ledger.database)
    restore_backup(kept, ledger.database, tmp_path / "takes", at="2026-03-02T19:00:00Z")
    assert revision_of(ledger.database) == "0001"
    assert dump_of(open_ledger(url)) == before


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_place_that_belongs_to_something_else_is_left_alone(
    empty_place: Callable[[str], str], dialect: str
) -> None:
    url = empty_place(dialect)
    with open_database(url).write() as connection:
        connection.run("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(LedgerError, match="belongs to something else"):
        open_ledger(url)
    with pytest.raises(LedgerError, match="lots"), open_database(url).read() as connection:
        connection.rows("SELECT * FROM lots")


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_several_that_open_a_new_place_at_once_make_one_ledger(
    empty_place: Callable[[str], str], dialect: str
) -> None:
    url = empty_place(dialect)
    code = f"from canebench.store.ledger import open_ledger; open_ledger({url!r})"
    children = [subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE) for _ in range(4)]
    said = [child.communicate(timeout=60)[1] for child in children]
    assert said == [b""] * 4
    assert take_in(open_ledger(url))[0] == 1


def test_references_that_a_migration_breaks_are_noticed(
    fresh: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = open_ledger(fresh("sqlite"))
    take_in(ledger)
    before = dump_of(ledger)
    monkeypatch.setattr(migrating, "REVISIONS", (*REVISIONS, ("9999", _breaks_references)))
    with pytest.raises(LedgerError, match="would break 2 references"):
        migrate(ledger.database)
    assert dump_of(ledger) == before
    assert revision_of(ledger.database) == HEAD


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_revision_that_fails_leaves_the_ledger_as_it_was(
    fresh: Callable[[str], str], dialect: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = fresh(dialect)
    ledger = open_ledger(url)
    with ledger.act("player", who="A", said="x") as act:
        act.insert("players", {"name": "Morag"})
    with ledger.reading() as reader:
        before = reader.dump()
    monkeypatch.setattr(migrating, "REVISIONS", (*REVISIONS, ("9999", _fails_half_way)))
    with pytest.raises(LedgerError, match=r"nowhere.*Nothing was changed"):
        migrate(open_database(url))
    assert revision_of(open_database(url)) == HEAD
    with ledger.reading() as reader:
        assert reader.dump() == before
    with pytest.raises(LedgerError, match="half_made"), ledger.database.read() as connection:
        connection.rows("SELECT * FROM half_made")


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_a_ledger_from_the_future_is_left_alone(fresh: Callable[[str], str], dialect: str) -> None:
    url = fresh(dialect)
    open_ledger(url)
    with open_database(url).write() as connection:
        connection.run("UPDATE alembic_version SET version_num = '7777'")
    with pytest.raises(LedgerError, match="newer than this canebench knows"):
        open_ledger(url)


def test_the_newest_revision_is_the_one_asked_for() -> None:
    assert [name for name, _ in REVISIONS][-1] == HEAD
