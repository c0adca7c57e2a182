"""Whether a backup is whole: every file as it was written, holding what the manifest says.

Guarded by `tests/store/test_backup.py` and, with ten thousand damages, `tests/faults/test_backup_damage.py`.
"""

from __future__ import annotations

import json
import sqlite3
from functools import partial
from hashlib import sha256
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, Final

from canebench.store.database import LedgerError
from canebench.store.recordings import ENDING, digest_of, recording_path
from canebench.store.schema import HEAD
from canebench.store.sqlite import looking
from canebench.store.wholeness.in_parts import rows_in_parts
from canebench.store.wholeness.rows_amiss import altered, rows_amiss
from canebench.store.wholeness.structure_amiss import structure_amiss, tables_amiss

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

FORMAT: Final = "canebench.backup/1"
MANIFEST, SEAL, FILE, ROWS, TAKES = "manifest.json", "manifest.sha256", "ledger.db", "ledger", "takes"


def verify_backup(folder: Path) -> list[str]:
    """Everything that is wrong with a backup, in words; nothing where it is whole."""
    manifest, found = _read_manifest(folder)
    if manifest is None:
        return found
    told: Mapping[str, Any] = manifest["files"]
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}
    found += [f"{name} is missing" for name in sorted(told.keys() - there)]
    found += [f"{name} does not belong to it" for name in sorted(there - told.keys() - {MANIFEST, SEAL})]
    for name in sorted(told.keys() & there):
        found += _file_findings(folder / name, name, told[name])
    if not found:
        found += _row_findings(folder, manifest)
    return found


def told_of(folder: Path) -> Mapping[str, Any]:
    """The manifest of a backup that is whole; a `LedgerError` lists what is wrong with another."""
    found = verify_backup(folder)
    if found:
        more = f"; and {len(found) - 5} more" if len(found) > 5 else ""
        raise LedgerError(f"backup {folder}: {'; '.join(found[:5])}{more}. Nothing was changed.")
    manifest, _ = _read_manifest(folder)
    return manifest or {}


def recordings_amiss(folder: Path) -> list[str]:
    """Recordings that a whole backup lacks or has damaged: they were so where and when it was made.

    Nothing of a snapshot, which leaves recordings out.
    """
    if not (folder / TAKES).is_dir():
        return []
    manifest, found = _read_manifest(folder)
    files: Mapping[str, Any] = {} if manifest is None else manifest["files"]
    for name in sorted(_recordings_named(folder)):
        told = files.get(f"{TAKES}/{name}{ENDING}")
        if told is None:
            found.append(f"recording {name} was missing when it was made")
        elif told["sha256"] != name:
            found.append(f"recording {name} was damaged when it was made")
    return found


def ledger_amiss(folder: Path) -> list[str]:
    """Rows of a whole backup that were damaged in the ledger already, when it was made.

    A ledger of an older revision is not looked at: its tables are not those that this version knows.
    """
    manifest, found = _read_manifest(folder)
    if manifest is None or manifest.get("revision") != HEAD:
        return found
    if manifest["database"] == "sqlite":
        try:
            with looking(folder / FILE) as connection:
                said = tables_amiss(connection) or rows_amiss(partial(rows_in_parts, connection))
        except sqlite3.Error as error:
            said = [str(error)]
    else:
        said = rows_amiss(partial(rows_of, folder))
    return [f"{one}: the ledger was damaged when it was made" for one in said]


def _recordings_named(folder: Path) -> set[str]:
    """The digests in the ledger of a whole backup."""
    if (folder / ROWS).is_dir():
        found = {row["recording_sha256"] for row in rows_of(folder, "takes")}
    else:
        with looking(folder / FILE) as connection:
            sql = "SELECT DISTINCT recording_sha256 AS name FROM takes"
            found = {row["name"] for row in connection.rows(sql)}
    return {name for name in found if name is not None and recording_path(folder, name)}


def rows_of(folder: Path, table: str) -> Iterator[dict[str, Any]]:
    """The rows of a table in a backup of JSON lines."""
    with (folder / ROWS / f"{table}.jsonl").open(encoding="utf-8") as file:
        for line in file:
            yield json.loads(line)


def _read_manifest(folder: Path) -> tuple[dict[str, Any] | None, list[str]]:
    try:
        text, seal = (folder / MANIFEST).read_bytes(), (folder / SEAL).read_bytes()
    except FileNotFoundError as error:
        name = Path(str(error.filename)).name
        return None, [f"{name} is missing: this is no backup, or a damaged one"]
    except OSError as error:
        return None, [f"it cannot be read ({error.strerror or type(error).__name__})"]
    if seal != seal_of(text):
        return None, [altered(MANIFEST)]
    try:
        manifest = json.loads(text)
        why = _amiss(manifest)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        why = "it does not say what a backup needs"
    return (None, [f"{MANIFEST}: {why}"]) if why else (manifest, [])


def _amiss(manifest: Mapping[str, Any]) -> str | None:
    """Why a manifest cannot be followed."""
    names = [PurePosixPath(name) for name in manifest["files"]]
    if any(name.is_absolute() or ".." in name.parts for name in names):
        return "it names files outside the backup"
    told = all({"bytes", "sha256"} <= set(one) for one in manifest["files"].values())
    counted = all(name.isidentifier() and isinstance(n, int) for name, n in manifest["rows"].items())
    if manifest["format"] != FORMAT or not told or not counted:
        return f"it is of another kind than this version reads ({FORMAT})"
    return None


def seal_of(manifest: bytes) -> bytes:
    """What stands in `manifest.sha256`."""
    return f"{sha256(manifest).hexdigest()}  {MANIFEST}\n".encode()


def _file_findings(path: Path, name: str, told: Mapping[str, Any]) -> list[str]:
    if path.is_symlink():
        return [f"{name} is a link to somewhere else"]
    try:
        size = path.stat().st_size
        if size != told["bytes"]:
            return [f"{name} has {size} bytes instead of {told['bytes']}"]
        if digest_of(path) != told["sha256"]:
            return [altered(name)]
    except OSError as error:
        return [f"{name} cannot be read ({error.strerror or type(error).__name__})"]
    return []


def _row_findings(folder: Path, manifest: Mapping[str, Any]) -> list[str]:
    """Whether files that are as they were written hold what the manifest says."""
    if manifest["database"] == "sqlite":
        return _database_findings(folder, manifest["rows"])
    found = []
    for name, told in manifest["rows"].items():
        count = sum(1 for _ in rows_of(folder, name)) if (folder / ROWS / f"{name}.jsonl").is_file() else None
        if count != told:
            found.append(f"{name} has {count} rows instead of {told}")
    return found


def _database_findings(folder: Path, rows: Mapping[str, int]) -> list[str]:
    try:
        with looking(folder / FILE) as connection:
            found = [f"{FILE}: {said}" for said in structure_amiss(connection)]
            for name, told in rows.items():
                count = connection.rows(f'SELECT count(*) AS n FROM "{name}"')[0]["n"]
                if count != told:
                    found.append(f"{name} has {count} rows instead of {told}")
    except sqlite3.Error as error:
        return [f"{FILE}: {error}"]
    return found
