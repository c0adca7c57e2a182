"""Tables out to a file, or the whole ledger: written beside the file, then put in its place at once.

Rows in the bin are not exported: that is what a backup is for. Guarded by `tests/store/test_exchange.py`.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final, Literal, get_args

from canebench.base.errors import InputError, UnknownNameError
from canebench.store.exchange.files.csv_file import read_csv, write_csv
from canebench.store.exchange.files.json_file import read_json, write_json
from canebench.store.exchange.files.parquet_file import read_parquet, write_parquet
from canebench.store.exchange.files.xlsx_file import read_xlsx, write_xlsx
from canebench.store.tables import TABLES, table_named

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from canebench.store.exchange.sheet import Sheet, Source
    from canebench.store.reader import Reader
    from canebench.store.tables import Row

Form = Literal["csv", "json", "parquet", "xlsx"]
FORMS: Final[tuple[Form, ...]] = get_args(Form)
#: These hold one table a file; of the whole ledger they are a folder.
_ONE_TABLE: Final = ("csv", "parquet")


def form_of(path: Path) -> Form:
    """The form that a file's ending says."""
    ending = path.suffix.removeprefix(".").lower()
    for form in FORMS:
        if form == ending:
            return form
    raise UnknownNameError(field="form of file", given=ending, known=FORMS)


def write_table(
    out: BinaryIO,
    reader: Reader,
    table: str,
    *,
    form: Form,
    written_at: str,
    rows: Iterable[Row] | None = None,
) -> None:
    """A table's rows, or `rows` of it in their order, into an open file."""
    known = table_named(table)
    held = reader.raw_rows(known) if rows is None else rows
    if form == "csv":
        write_csv(out, known, held)
    elif form == "parquet":
        write_parquet(out, known, held)
    elif form == "xlsx":
        write_xlsx(out, {table: held})
    else:
        write_json(out, {table: held}, written_at=written_at)


def export_table(
    reader: Reader, table: str, path: Path, *, written_at: str, rows: Iterable[Row] | None = None
) -> None:
    """A table into a file of the form that its ending says."""
    form = form_of(path)
    with _placed(path) as out:
        write_table(out, reader, table, form=form, written_at=written_at, rows=rows)


def export_ledger(reader: Reader, path: Path, *, form: Form, written_at: str) -> None:
    """Every table: one file (JSON, XLSX), or a new folder with a file for each (CSV, Parquet)."""
    if form not in _ONE_TABLE:
        tables = {name: reader.raw_rows(table) for name, table in TABLES.items()}
        with _placed(path) as out:
            if form == "xlsx":
                write_xlsx(out, tables)
            else:
                write_json(out, tables, written_at=written_at)
        return
    if path.exists():
        raise InputError(field="folder", given=str(path), allowed="one that does not exist yet is made")
    try:
        beside = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.parent))
    except OSError as error:
        raise _cannot(path, error, field="folder") from error
    try:
        for name in TABLES:
            with (beside / f"{name}.{form}").open("wb") as out:
                write_table(out, reader, name, form=form, written_at=written_at)
                _to_disk(out)
        beside.chmod(0o755)
        beside.rename(path)
    except BaseException as error:
        shutil.rmtree(beside, ignore_errors=True)
        if isinstance(error, OSError):
            raise _cannot(path, error, field="folder") from error
        raise


def read_tables(source: Source, *, form: Form, table: str | None = None) -> dict[str, Sheet]:
    """The sheets of a file by table; `table` says whose rows they are where the file does not."""
    if form == "json":
        found = read_json(source)
    elif form == "xlsx":
        found = read_xlsx(source)
    elif table is None:
        raise InputError(field="table", given="none", allowed=f"one of {', '.join(TABLES)} is needed")
    else:
        known = table_named(table)
        return {table: read_csv(source, known) if form == "csv" else read_parquet(source)}
    if table is None and "" not in found:
        return found
    if table is None:
        raise InputError(
            field="table", given="a sheet of another name", allowed=f"name one of {', '.join(TABLES)}"
        )
    table_named(table)
    if table not in found and "" not in found:
        raise InputError(field="file", given=f"no {table}", allowed=f"it holds {', '.join(found)}")
    return {table: found[table] if table in found else found[""]}


def read_folder(path: Path) -> dict[str, Sheet]:
    """The sheets of a folder as `export_ledger` makes it."""
    found: dict[str, Sheet] = {}
    for name in TABLES:
        for form in FORMS:
            file = path / f"{name}.{form}"
            if form in _ONE_TABLE and file.is_file():
                found.update(read_tables(file, form=form, table=name))
    if not found:
        raise InputError(
            field="folder", given=str(path), allowed="files called like tables are read: reeds.csv, takes.csv"
        )
    return found


@contextmanager
def _placed(path: Path) -> Iterator[BinaryIO]:
    """A file beside the one meant, which it becomes once it is whole and on the disk."""
    try:
        number, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    except OSError as error:
        raise _cannot(path, error, field="file") from error
    beside = Path(name)
    try:
        with os.fdopen(number, "wb") as out:
            yield out
            _to_disk(out)
        beside.chmod(0o644)
        beside.replace(path)
    except BaseException as error:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _cannot(path, error, field="file") from error
        raise


def _cannot(path: Path, error: OSError, *, field: str) -> InputError:
    why = error.strerror or type(error).__name__
    return InputError(field=field, given=str(path), allowed=f"it cannot be written: {why}")


def _to_disk(out: BinaryIO) -> None:
    out.flush()
    os.fsync(out.fileno())
