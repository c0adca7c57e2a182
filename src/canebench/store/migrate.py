"""Bring a ledger to this version's schema: every revision in one transaction.

The table that holds the revision is named by the toolkit that made the first ledgers.
Guarded by `tests/store/test_migrations.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.store.database import LedgerError
from canebench.store.migrations.versions import REVISIONS
from canebench.store.schema import HEAD, REVISION_TABLE

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.store.database import Connection, Database


def revision_of(database: Database) -> str | None:
    """The ledger's revision; None where there is no ledger yet."""
    with database.read() as connection:
        return _revision(connection, database.dialect)


def _revision(connection: Connection, dialect: str) -> str | None:
    if dialect == "sqlite":
        found = connection.rows("SELECT name FROM sqlite_master WHERE name = 'alembic_version'")
    else:
        found = connection.rows("SELECT to_regclass('alembic_version') AS name")
    if not found or found[0]["name"] is None:
        return None
    rows = connection.rows("SELECT version_num AS version_num FROM alembic_version")
    return str(rows[0]["version_num"]) if rows else None


def _holds_tables(database: Database) -> bool:
    sql = (
        "SELECT name FROM sqlite_master LIMIT 1"
        if database.dialect == "sqlite"
        else "SELECT tablename AS name FROM pg_tables WHERE schemaname = current_schema() LIMIT 1"
    )
    with database.read() as connection:
        return bool(connection.rows(sql))


def migrate(database: Database, *, before: Callable[[], object] | None = None) -> None:
    """To the newest revision; a ledger newer than this version is refused.

    `before` is called when a ledger that is there already is about to change.
    """
    # In this order: between the two, another process may make the whole ledger.
    holds_tables = _holds_tables(database)
    now = revision_of(database)
    if now is None and holds_tables:
        raise LedgerError("This database belongs to something else: it has tables, but is no ledger.")
    if now is not None:
        _check_known(now)
    if now not in (None, HEAD) and before is not None:
        before()
    with database.alter() as connection:
        # Another process may have migrated while this one waited.
        _upgrade(connection, database.dialect, _revision(connection, database.dialect))


def make_at(database: Database, revision: str) -> None:
    """The empty tables of a revision, in a new place."""
    _check_known(revision)
    with database.alter() as connection:
        _upgrade(connection, database.dialect, None, last=revision)


def _check_known(revision: str) -> None:
    if revision not in {name for name, _ in REVISIONS}:
        raise LedgerError(
            f"This ledger is at revision {revision}, newer than this canebench knows ({HEAD}). "
            "Install the newer version; nothing was changed."
        )


def _upgrade(connection: Connection, dialect: str, now: str | None, *, last: str | None = None) -> None:
    names = [name for name, _ in REVISIONS]
    for name, upgrade in REVISIONS[0 if now is None else names.index(now) + 1 :]:
        upgrade(connection, dialect)
        if now is None:
            connection.run(REVISION_TABLE)
            connection.run("INSERT INTO alembic_version VALUES (?)", (name,))
        else:
            connection.run("UPDATE alembic_version SET version_num = ?", (name,))
        now = name
        if name == last:
            return
