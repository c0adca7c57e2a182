"""Rows out to files and in from them; a snapshot is kept before any come in.

Guarded by `tests/doors/test_exchange_command.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from canebench.base.errors import InputError, NotFoundError, UnknownNameError
from canebench.store.backups.snapshots import keep_snapshot
from canebench.store.exchange.findings import ImportChoices, Imported, ImportRefusedError, TableFound, refused
from canebench.store.exchange.going_over import Progress
from canebench.store.exchange.importing import check_import, commit_import
from canebench.store.exchange.new_lots import with_new_lots
from canebench.store.exchange.tables_out import (
    FORMS,
    export_ledger,
    export_table,
    form_of,
    read_folder,
    read_tables,
)
from canebench.store.tables import TABLES, table_named
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from canebench.store.exchange.sheet import Sheet
    from canebench.store.ledger import Ledger

#: What doors ask with and show, besides the acts below.
__all__ = [
    "FORMS",
    "TABLES",
    "ImportChoices",
    "ImportRefusedError",
    "Imported",
    "Progress",
    "TableFound",
    "refused",
]

#: Of the whole ledger, these are one file; of the others, a folder.
_WHOLE = ("json", "xlsx")


def export(
    ledger: Ledger, path: Path, *, table: str | None = None, form: str | None = None, force: bool = False
) -> Path:
    """A table, or everything, to a file or a new folder; what is there already is replaced only by `force`.

    `form` is csv, json, parquet or xlsx; None for what the file's ending says.
    """
    chosen = form_of(path) if form is None else form
    if chosen not in FORMS:
        raise UnknownNameError(field="form", given=chosen, known=FORMS)
    if table is not None:
        table_named(table)
    folder = table is None and chosen not in _WHOLE
    if path.exists() and (folder or not force):
        raise InputError(
            field="export",
            given=str(path),
            allowed="something is there already",
            nearest="another name" if folder else "another name, or --force to replace it",
        )
    if not path.parent.is_dir():
        raise NotFoundError(f"There is no folder {path.parent}.")
    if not folder and path.suffix.lower() != f".{chosen}":
        path = path.with_name(f"{path.name}.{chosen}")
    at = written(ledger.clock())
    with ledger.reading() as reader:
        if table is None:
            export_ledger(reader, path, form=chosen, written_at=at)
        else:
            export_table(reader, table, path, written_at=at)
    return path


def sheets_of(path: Path, *, table: str | None = None) -> dict[str, Sheet]:
    """What a file or a folder holds, by table; a CSV or Parquet file may be called like its table."""
    if path.is_dir():
        return read_folder(path)
    form = form_of(path)
    if table is None and form not in _WHOLE and path.stem in TABLES:
        table = path.stem
    return read_tables(path, form=form, table=table)


def look_over(
    ledger: Ledger, sheets: Mapping[str, Sheet], choices: ImportChoices, *, progress: Progress | None = None
) -> dict[str, TableFound]:
    """What would come in, with every problem and duplicate; nothing is written."""
    choices = replace(choices, now=written(ledger.clock()))
    with ledger.reading() as reader:
        return check_import(reader, with_new_lots(reader, sheets, choices), choices, progress=progress)


def bring_in(
    ledger: Ledger,
    sheets: Mapping[str, Sheet],
    choices: ImportChoices,
    *,
    who: str,
    said: str,
    progress: Progress | None = None,
) -> Imported:
    """Every row in one act, or none, with the new lots that a list of reeds names.

    Before it, a snapshot of the ledger as it is.
    """
    keep_snapshot(ledger.database, "before-import", at=written(ledger.clock()))
    choices = replace(choices, now=written(ledger.clock()))
    with ledger.reading() as reader:
        sheets = with_new_lots(reader, sheets, choices)
    return commit_import(ledger, sheets, choices, who=who, said=said, progress=progress)
