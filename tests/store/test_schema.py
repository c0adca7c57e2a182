"""The schema: what the tables say is what a migrated ledger has, and what was released stays as it was."""

from __future__ import annotations

import hashlib
import re
import sqlite3
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from canebench.store.database import LedgerError
from canebench.store.engine import open_database
from canebench.store.schema import statements
from canebench.store.tables import OWN, TABLES, Column

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.store.database import Database
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value

#: What was released is never altered: a ledger out there was made with it.
_RELEASED = {
    "r0001_sqlite.sql": "e57baf0e113385f802caf223418d32aba6beea593a621244b47cff34417e4ebd",
    "r0001_postgresql.sql": "9baa80b2120f2d83d9f94c89e9278a39da39314d25e51462bdeb7ea2b5c9ada9",
    "r0002_unused_columns.py": "ab71b4e1c6bb5a792bcf0e6bba39788628f5420fd28bf356670e9241b48229cf",
}
_TYPES = {
    "sqlite": {"int": "INTEGER", "real": "REAL"},
    "postgresql": {"int": "bigint", "real": "double precision"},
}


def _columns(ledger: Ledger, table: str) -> list[tuple[str, str, bool]]:
    """Name, type and whether it must be filled, in order."""
    with ledger.database.read() as connection:
        if ledger.database.dialect == "sqlite":
            rows = connection.rows(f"PRAGMA table_info({table})")
            return [(row["name"], row["type"], bool(row["notnull"] or row["pk"])) for row in rows]
        rows = connection.rows(
            "SELECT column_name, data_type, collation_name, is_nullable FROM information_schema.columns "
            "WHERE table_name = ? ORDER BY ordinal_position",
            [table],
        )
    return [
        (
            row["column_name"],
            " ".join(filter(None, (row["data_type"], row["collation_name"]))),
            row["is_nullable"] == "NO",
        )
        for row in rows
    ]


def _wanted(column: Column, dialect: str) -> tuple[str, str, bool]:
    text = "TEXT" if dialect == "sqlite" else "text C"
    kind = "int" if column.kind == "flag" else column.kind
    return column.name, _TYPES[dialect].get(kind, text), column.needed


def test_a_ledger_has_exactly_the_tables_and_columns(ledger: Ledger) -> None:
    dialect = ledger.database.dialect
    own = [
        Column(name="id", kind="int", needed=True),
        Column(name="version", kind="int", needed=True),
        Column(name="removed_at", kind="when"),
    ]
    assert [column.name for column in own] == list(OWN)
    for table in TABLES.values():
        assert _columns(ledger, table.name) == [_wanted(column, dialect) for column in (*own, *table.columns)]
    with ledger.database.read() as connection:
        found = connection.rows(
            "SELECT name FROM sqlite_master WHERE type = 'table'"
            if dialect == "sqlite"
            else "SELECT tablename AS name FROM pg_tables WHERE schemaname = current_schema()"
        )
    assert {row["name"] for row in found} == {*TABLES, "acts", "changes", "counters", "alembic_version"}


def test_every_reference_is_held_and_found_by_an_index(ledger: Ledger) -> None:
    wanted = {
        (table.name, column.name, column.refers)
        for table in TABLES.values()
        for column in table.columns
        if column.refers
    }
    with ledger.database.read() as connection:
        if ledger.database.dialect == "sqlite":
            held = {
                (name, row["from"], row["table"])
                for name in TABLES
                for row in connection.rows(f"PRAGMA foreign_key_list({name})")
            }
            indexes = connection.rows("SELECT name FROM sqlite_master WHERE type = 'index'")
        else:
            rows = connection.rows(
                "SELECT conrelid::regclass::text AS a, confrelid::regclass::text AS b, attname AS c "
                "FROM pg_constraint JOIN pg_attribute ON attrelid = conrelid AND attnum = conkey[1] "
                "WHERE contype = 'f'"
            )
            held = {(row["a"], row["c"], row["b"]) for row in rows if row["a"] in TABLES}
            indexes = connection.rows("SELECT indexname AS name FROM pg_indexes")
    assert held == wanted
    assert {f"{table}_by_{column}" for table, column, _ in wanted} <= {row["name"] for row in indexes}


def _everything(database: Database) -> list[tuple[Value, ...]]:
    """Tables, indexes and constraints as the database itself tells them."""
    queries = {
        "sqlite": (
            "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE '%alembic%' ORDER BY name",
        ),
        "postgresql": (
            "SELECT table_name, column_name, data_type, collation_name, is_nullable "
            "FROM information_schema.columns WHERE table_schema = current_schema() "
            "AND table_name <> 'alembic_version' ORDER BY table_name, ordinal_position",
            "SELECT indexdef FROM pg_indexes WHERE schemaname = current_schema() "
            "AND tablename <> 'alembic_version' ORDER BY indexdef",
            "SELECT conrelid::regclass::text AS held, pg_get_constraintdef(oid) AS said FROM pg_constraint "
            "WHERE connamespace = current_schema()::regnamespace "
            "AND conrelid <> 'alembic_version'::regclass ORDER BY held, said",
        ),
    }
    with database.read() as connection:
        return [tuple(row.values()) for sql in queries[database.dialect] for row in connection.rows(sql)]


def _made_now(url: str, *, but: str = "") -> Database:
    """An empty place with the newest tables, made without a migration; one statement left out at will."""
    database = open_database(url)
    with database.write() as connection:
        connection.run("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)")
        for statement in statements(database.dialect):
            if not but or but not in statement:
                connection.run(statement)
    return database


def test_migrations_make_the_newest_schema(ledger: Ledger, empty_place: Callable[[str], str]) -> None:
    """A change of tables needs a new revision: what was released stays."""
    dialect = ledger.database.dialect
    assert _everything(ledger.database) == _everything(_made_now(empty_place(dialect)))
    # The control: an index that no migration makes.
    without = _made_now(empty_place(dialect), but="INDEX plays_by_at ")
    assert _everything(ledger.database) != _everything(without)


@pytest.mark.parametrize("name", _RELEASED)
def test_what_was_released_stays_as_it_was(name: str) -> None:
    released = files("canebench.store.migrations.versions").joinpath(name).read_bytes()
    assert hashlib.sha256(released).hexdigest() == _RELEASED[name]


def test_both_released_schemas_have_the_same_columns() -> None:
    folder = files("canebench.store.migrations.versions")
    texts = [
        folder.joinpath(f"r0001_{dialect}.sql").read_text("utf-8") for dialect in ("sqlite", "postgresql")
    ]
    bare = [
        re.sub(r" STRICT|BIGINT|DOUBLE PRECISION|INTEGER|REAL| COLLATE \"C\"", "", text) for text in texts
    ]
    assert bare[0] == bare[1]


@pytest.mark.parametrize("dialect", ["sqlite"])
def test_sqlite_holds_types_strictly(ledger: Ledger) -> None:
    with ledger.database.read() as connection:
        rows = connection.rows("PRAGMA table_list")
    ours = {row["name"]: row["strict"] for row in rows if not str(row["name"]).startswith("sqlite_")}
    assert {name for name, strict in ours.items() if not strict} == {"alembic_version"}
    with (
        pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT value in INTEGER column"),
        ledger.database.write() as connection,
    ):
        connection.run("INSERT INTO counters (name, used) VALUES ('x', 'many')")


def test_what_the_tables_forbid_the_database_refuses_too(ledger: Ledger) -> None:
    """The writer checks first; this is the second lock on the same door."""
    for statement in (
        "INSERT INTO players (id, version, name) VALUES (1, 1, NULL)",
        "INSERT INTO chanters (id, version, name, player_id) VALUES (1, 1, 'x', 7)",
        "INSERT INTO players (id, version, name) VALUES (1, 1, 'x'), (2, 1, 'x')",
        "INSERT INTO players (id, version, name) VALUES (1, 1, 'x'), (1, 1, 'y')",
    ):
        with (
            pytest.raises(Exception, match=r"(?i)null|foreign key|unique"),
            ledger.database.write() as connection,
        ):
            connection.run(statement)
    with pytest.raises(LedgerError, match="Nothing was changed"), ledger.database.write() as connection:
        connection.run("INSERT INTO nowhere VALUES (1)")


def test_every_reference_leads_to_a_table() -> None:
    for table in TABLES.values():
        for column in table.columns:
            assert column.refers is None or column.refers in TABLES
