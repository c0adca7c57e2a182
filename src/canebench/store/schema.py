"""Statements that make the tables of `tables.TABLES`, in either database's words.

A released migration stays as it was; this module makes the newest tables, and a test holds them equal to what
the migrations make. Guarded by `tests/store/test_schema.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from canebench.store.tables import Column, Table

#: The newest revision: what a ledger must be at for this version of canebench.
HEAD: Final = "0005"

#: The table that holds the revision, as it is made now.
REVISION_TABLE: Final = "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"

_TYPES: Final = {
    "sqlite": {"int": "INTEGER", "real": "REAL", "text": "TEXT"},
    "postgresql": {"int": "BIGINT", "real": "DOUBLE PRECISION", "text": "TEXT"},
}
#: Text sorts by its bytes in SQLite; PostgreSQL is told to do the same.
_COLLATION: Final = {"sqlite": "", "postgresql": ' COLLATE "C"'}


def statements(dialect: str) -> list[str]:
    """Every CREATE statement, in an order that satisfies the references."""
    end = " STRICT" if dialect == "sqlite" else ""
    whole, text = _TYPES[dialect]["int"], _TYPES[dialect]["text"] + _COLLATION[dialect]
    found = [
        f"CREATE TABLE counters (name {text} PRIMARY KEY, used {whole} NOT NULL){end}",
        f"CREATE TABLE acts (id {whole} PRIMARY KEY, at {text} NOT NULL, who {text} NOT NULL, "
        f"kind {text} NOT NULL, said {text} NOT NULL, undoes {whole} REFERENCES acts (id), "
        f"undone_by {whole} REFERENCES acts (id), digest {text}){end}",
        f"CREATE TABLE changes (act_id {whole} NOT NULL REFERENCES acts (id), place {whole} NOT NULL, "
        f"in_table {text} NOT NULL, row_id {whole} NOT NULL, before {text}, after {text}, "
        f"PRIMARY KEY (act_id, place)){end}",
        "CREATE INDEX changes_of_row ON changes (in_table, row_id)",
    ]
    for table in TABLES.values():
        found.append(_create(table, dialect) + end)
        found += [
            f"CREATE INDEX {table.name}_by_{column.name} ON {table.name} ({column.name})"
            # What lies in the bin has no place among the times: a page far down reads no rows above it.
            + (" WHERE removed_at IS NULL" if column.name == "at" else "")
            for column in table.columns
            if column.refers or column.name == "at"
        ]
    return found


def _create(table: Table, dialect: str) -> str:
    whole, text = _TYPES[dialect]["int"], _TYPES[dialect]["text"] + _COLLATION[dialect]
    columns = [f"id {whole} PRIMARY KEY", f"version {whole} NOT NULL", f"removed_at {text}"]
    columns += [_column(column, dialect) for column in table.columns]
    return f"CREATE TABLE {table.name} ({', '.join(columns)})"


def _column(column: Column, dialect: str) -> str:
    kinds = _TYPES[dialect]
    kind = kinds.get(column.kind, kinds["int"] if column.kind == "flag" else kinds["text"])
    if kind == kinds["text"]:
        kind += _COLLATION[dialect]
    parts = [column.name, kind]
    if column.needed:
        parts.append("NOT NULL")
    if column.unique:
        parts.append("UNIQUE")
    if column.refers:
        parts.append(f"REFERENCES {column.refers} (id)")
    return " ".join(parts)
