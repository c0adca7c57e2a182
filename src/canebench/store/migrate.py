"""Bring a ledger to this version's schema: every revision in one transaction.

Alembic is imported only here, when there is something to migrate: it takes most of a second. Guarded by
`tests/store/test_migrations.py`.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from canebench.store.database import WRITE_LOCK, LedgerError
from canebench.store.schema import HEAD
from canebench.store.sqlite import WAIT_S

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from alembic.script import ScriptDirectory

    from canebench.store.database import Database

_SCRIPTS: Final = Path(__file__).parent / "migrations"


def revision_of(database: Database) -> str | None:
    """The ledger's revision; None where there is no ledger yet."""
    with database.read() as connection:
        if database.dialect == "sqlite":
            found = connection.rows("SELECT name FROM sqlite_master WHERE name = 'alembic_version'")
        else:
            found = connection.rows("SELECT to_regclass('alembic_version') AS name")
        if not found or found[0]["name"] is None:
            return None
        rows = connection.rows("SELECT version_num FROM alembic_version")
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
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415
    from sqlalchemy import create_engine, event, pool  # noqa: PLC0415
    from sqlalchemy.exc import DBAPIError  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS).replace("%", "%%"))
    # In this order: between the two, another process may make the whole ledger.
    holds_tables = _holds_tables(database)
    now = revision_of(database)
    if now is None and holds_tables:
        raise LedgerError("This database belongs to something else: it has tables, but is no ledger.")
    if now is not None and now not in _known(ScriptDirectory.from_config(config)):
        raise LedgerError(
            f"This ledger is at revision {now}, newer than this canebench knows ({HEAD}). "
            "Install the newer version; nothing was changed."
        )
    if now not in (None, HEAD) and before is not None:
        before()
    waits = {"timeout": WAIT_S} if database.dialect == "sqlite" else {}
    engine = create_engine(database.engine_url, poolclass=pool.NullPool, connect_args=waits)
    if database.dialect == "sqlite":

        @event.listens_for(engine, "connect")
        def _plain(raw, _record) -> None:  # type: ignore[no-untyped-def]
            # The driver's own transactions would leave a half-made table behind.
            raw.isolation_level = None
            raw.execute("PRAGMA synchronous=EXTRA")

        @event.listens_for(engine, "begin")
        def _immediate(connection) -> None:  # type: ignore[no-untyped-def]
            connection.exec_driver_sql("BEGIN IMMEDIATE")

    try:
        with engine.begin() as connection:
            if database.dialect == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            if database.dialect == "sqlite":
                _check_references(connection.exec_driver_sql("PRAGMA foreign_key_check").all())
    except DBAPIError as error:
        raise database.told(error.orig or error) from error
    finally:
        engine.dispose()


def _known(scripts: ScriptDirectory) -> set[str]:
    return {script.revision for script in scripts.walk_revisions()}


def _check_references(broken: Sequence[object]) -> None:
    """SQLite minds no reference while it migrates, so that a table can be made anew."""
    if broken:
        raise LedgerError(f"Migrating would break {len(broken)} references. Nothing was changed.")
