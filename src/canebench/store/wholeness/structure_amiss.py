"""Damage to the structure of a ledger's file: what SQLite finds, and tables that are not the ledger's.

Guarded by `tests/faults/test_row_damage.py`.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import cache
from typing import TYPE_CHECKING

from canebench.store.schema import REVISION_TABLE, statements

if TYPE_CHECKING:
    from canebench.store.database import Connection

#: What the toolkit wrote that made the first ledgers, in one line; now it is `REVISION_TABLE`.
_TOOLKITS = (
    "CREATE TABLE alembic_version ( version_num VARCHAR(32) NOT NULL, "
    "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num) )"
)
_TOLD = "SELECT type, name, tbl_name, sql FROM sqlite_master"


def structure_amiss(connection: Connection) -> list[str]:
    """What is wrong with a SQLite file's pages, indexes and references, in words."""
    found = [row["integrity_check"] for row in connection.rows("PRAGMA integrity_check")]
    found = [said for said in found if said != "ok"]
    broken = [] if found else connection.rows("PRAGMA foreign_key_check")
    return [*found, f"{len(broken)} rows refer to rows that are not there"] if broken else found


def tables_amiss(connection: Connection) -> list[str]:
    """Where a file of the newest revision says of its tables and indexes what this version does not."""
    told = {
        (row["type"], row["name"], row["tbl_name"], _as_now(row["sql"])) for row in connection.rows(_TOLD)
    }
    differing = {str(name) for _, name, *_ in told ^ _told_when_new()}
    return [f"table or index {name} is not as it was made" for name in sorted(differing)]


def _as_now(sql: object) -> object:
    return REVISION_TABLE if isinstance(sql, str) and " ".join(sql.split()) == _TOOLKITS else sql


@cache
def _told_when_new() -> frozenset[tuple[object, ...]]:
    with closing(sqlite3.connect(":memory:")) as raw:
        for statement in (REVISION_TABLE, *statements("sqlite")):
            raw.execute(statement)
        return frozenset(raw.execute(_TOLD).fetchall())
