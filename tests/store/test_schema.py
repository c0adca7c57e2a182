"""The schema: what the tables say is what a migrated ledger has, and what was released stays as it was."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from canebench.store.schema import statements
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger


def _columns(ledger: Ledger, table: str) -> list[str]:
    with ledger.database.read() as connection:
        if ledger.database.dialect == "sqlite":
            return [str(row["name"]) for row in connection.rows(f"PRAGMA table_info({table})")]
        rows = connection.rows(
            "SELECT column_name AS name FROM information_schema.columns WHERE table_name = ? "
            "ORDER BY ordinal_position",
            [table],
        )
        return [str(row["name"]) for row in rows]


def test_a_ledger_has_the_tables_columns(ledger: Ledger) -> None:
    for table in TABLES.values():
        wanted = ["id", "version", "removed_at", *(column.name for column in table.columns)]
        assert _columns(ledger, table.name) == wanted


@pytest.mark.parametrize("dialect", ["sqlite", "postgresql"])
def test_the_newest_schema_is_the_released_one(dialect: str) -> None:
    """A change of tables needs a new revision: this one has been released and stays."""
    kept = files("canebench.store.migrations.versions").joinpath(f"r0001_{dialect}.sql").read_text("utf-8")
    assert kept == ";\n".join(statements(dialect)) + ";\n"


def test_sqlite_holds_types_strictly(ledger: Ledger) -> None:
    if ledger.database.dialect != "sqlite":
        return
    with ledger.database.read() as connection:
        rows = connection.rows("SELECT name, sql FROM sqlite_master WHERE type = 'table'")
    for row in rows:
        assert row["name"] == "alembic_version" or str(row["sql"]).rstrip().endswith("STRICT")


def test_every_reference_leads_to_a_table() -> None:
    for table in TABLES.values():
        for column in table.columns:
            assert column.refers is None or column.refers in TABLES
