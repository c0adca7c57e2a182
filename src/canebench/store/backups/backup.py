"""Backups: a folder with everything in it, a manifest of digests, and the way back.

A backup holds the ledger (a file made by SQLite's online backup, or a file of JSON lines for each table from
PostgreSQL), the recordings, `manifest.json` with size and SHA-256 of every file and the rows of every table,
and `manifest.sha256` over that. It appears under its name only when it is whole and synced. Guarded by
`tests/store/test_backup.py`.
"""

from __future__ import annotations

import json
import secrets
import shutil
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

from canebench import __version__
from canebench.base.disk.in_the_making import in_the_making
from canebench.base.disk.owner_only import copy_file, make_file, make_folder
from canebench.base.disk.synced import sync
from canebench.base.errors import InputError
from canebench.store.backups.verify import (
    FILE,
    FORMAT,
    MANIFEST,
    ROWS,
    SEAL,
    TAKES,
    seal_of,
)
from canebench.store.migrate import revision_of
from canebench.store.recordings import digest_of, recordings_in
from canebench.store.sqlite import Sqlite, connect, text_of_a_file
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from canebench.store.database import Connection, Database
    from canebench.store.tables import Row

#: Everything that makes a ledger, in an order that satisfies the references.
EVERYTHING: Final = ("counters", "acts", *TABLES, "changes")


def write_backup(database: Database, takes: Path | None, destination: Path, *, at: str) -> Path:
    """Back up a ledger, and the recordings of `takes` where given, into the new folder `destination`."""
    if destination.exists():
        raise InputError(
            field="backup",
            given=str(destination),
            allowed="something is there already; a backup is never written over another",
            nearest="a new folder",
        )
    if not destination.parent.is_dir():
        # A stick that is not there: made all the same, the folders would lie on this machine's own disk.
        raise InputError(
            field="backup",
            given=str(destination),
            allowed=f"there is no folder {destination.parent}: is the stick or disk there?",
            nearest=f"mkdir {destination.parent}, if it is to lie on this disk",
        )
    made = destination.with_name(f".{destination.name}.{secrets.token_hex(6)}.part")
    try:
        make_folder(made)
        with in_the_making(made):
            counts = (
                _copy_file(database, made) if isinstance(database, Sqlite) else _copy_rows(database, made)
            )
            if takes is not None:
                _copy_takes(takes, made / TAKES)
            _seal(made, database, counts, at)
            made.rename(destination)
        sync(destination.parent)
    except OSError as error:
        raise InputError(
            field=f"backup {destination}",
            given="a place that cannot be written",
            allowed=f"{error.strerror or type(error).__name__}; nothing half made is left",
        ) from error
    finally:
        shutil.rmtree(made, ignore_errors=True)
    return destination


def _copy_file(database: Sqlite, folder: Path) -> dict[str, int]:
    """SQLite's own online backup, in one step: one state, whoever writes meanwhile."""
    try:
        with closing(connect(database.path)) as source:
            make_file(folder / FILE)
            with closing(sqlite3.connect(folder / FILE)) as copy, text_of_a_file():
                source.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
                sql = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
                names = sorted(name for (name,) in copy.execute(sql).fetchall() if name != "alembic_version")
                return {name: copy.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names}
    except sqlite3.Error as error:
        raise database.told(error) from error


def _copy_rows(database: Database, folder: Path) -> dict[str, int]:
    make_folder(folder / ROWS)
    counts = {}
    with database.read() as connection:
        sql = "SELECT tablename AS name FROM pg_tables WHERE schemaname = current_schema()"
        names = sorted(row["name"] for row in connection.rows(sql))
        for name in (name for name in names if name != "alembic_version"):
            rows = connection.rows(f"SELECT * FROM {name} ORDER BY {_order(name)}")
            make_file(folder / ROWS / f"{name}.jsonl")
            with (folder / ROWS / f"{name}.jsonl").open("w", encoding="utf-8") as file:
                file.writelines(json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n" for row in rows)
            counts[name] = len(rows)
    return counts


def _order(name: str) -> str:
    return {"counters": "name", "changes": "act_id, place"}.get(name, "id")


def _copy_takes(takes: Path, folder: Path) -> None:
    """Recordings are named by their digest and never change, so copying them needs no lock.

    One that was damaged is copied too: something of it may still be heard (`verify.recordings_amiss`).
    """
    make_folder(folder)
    for path in recordings_in(takes):
        copy_file(path, folder / path.name)


def _seal(folder: Path, database: Database, counts: Mapping[str, int], at: str) -> None:
    files = {}
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        sync(path)
        files[path.relative_to(folder).as_posix()] = {"bytes": path.stat().st_size, "sha256": digest_of(path)}
    manifest = {
        "format": FORMAT,
        "made_at": at,
        "canebench": __version__,
        "database": database.dialect,
        "revision": revision_of(database),
        "rows": dict(counts),
        "files": files,
    }
    text = json.dumps(manifest, indent=1, ensure_ascii=False).encode()
    for name, data in ((MANIFEST, text), (SEAL, seal_of(text))):
        make_file(folder / name)
        (folder / name).write_bytes(data)
        sync(folder / name)
    for inner in (path for path in folder.iterdir() if path.is_dir()):
        sync(inner)
    sync(folder)


def fill(connection: Connection, rows: Callable[[str], Iterable[Row]]) -> None:
    """Everything out, everything of a backup in, by table: part of one transaction."""
    # Undone and undoing acts refer to each other, so acts come in without that and are told it after.
    for name in reversed(EVERYTHING):
        if name == "acts":
            connection.run("UPDATE acts SET undoes = NULL, undone_by = NULL")
        connection.run(f"DELETE FROM {name}")
    for name in EVERYTHING:
        late = []
        for row in rows(name):
            if name == "acts" and (row["undoes"] is not None or row["undone_by"] is not None):
                late.append([row["undoes"], row["undone_by"], row["id"]])
                row = {**row, "undoes": None, "undone_by": None}  # noqa: PLW2901
            names = list(row)
            sql = f"INSERT INTO {name} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
            connection.run(sql, [row[one] for one in names])
        for values in late:
            connection.run("UPDATE acts SET undoes = ?, undone_by = ? WHERE id = ?", values)
