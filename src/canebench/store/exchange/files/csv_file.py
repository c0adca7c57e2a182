"""CSV by RFC 4180, out and in.

Out: UTF-8, commas, CRLF, one header row of names with units; numbers with all the digits that tell them
apart, an empty cell for nothing, text made harmless for spreadsheets by the rule in `protect`. In: comma or
semicolon, UTF-8 or UTF-16, with a byte order mark or without. Guarded by `tests/store/test_exchange.py`.
"""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, BinaryIO, Final, Literal

from canebench.base.errors import InputError
from canebench.store.exchange.headers import how_many_known
from canebench.store.exchange.protect import protected
from canebench.store.exchange.sheet import (
    MOST_CELL,
    MOST_COLUMNS,
    Sheet,
    checked_headers,
    checked_rows,
    opened,
    told,
    written_columns,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from canebench.store.exchange.sheet import Numbered, Source
    from canebench.store.tables import Row, Table, Value

_MARKS: Final = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
#: How many rows say whether numbers have a comma or a point.
_SAMPLE: Final = 1000
_WITH_COMMA: Final = re.compile(r"\s*[-+−]?\d+,\d+\s*", re.ASCII)
_WITH_POINT: Final = re.compile(r"\s*[-+−]?\d+\.\d+\s*", re.ASCII)


def write_csv(out: BinaryIO, table: Table, rows: Iterable[Row]) -> None:
    """All columns of some rows of a table."""
    columns = written_columns(table.columns)
    text = io.TextIOWrapper(out, encoding="utf-8", newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([column.header for column in columns])
    writer.writerows([_cell(row[column.name]) for column in columns] for row in rows)
    text.flush()
    text.detach()


def _cell(value: Value) -> str:
    if value is None:
        return ""
    return protected(value) if isinstance(value, str) else repr(value)


def read_csv(
    source: Source,
    table: Table,
    *,
    separator: Literal[",", ";"] | None = None,
    decimal: Literal[",", "."] | None = None,
) -> Sheet:
    """A CSV file's rows; `separator` and `decimal` are found in the file where they are not given.

    With semicolons the decimal mark is a comma, unless the first thousand rows hold points and no commas.
    """
    # Ours are longer than the reader's own limit, which is one for the whole process: it is only ever raised.
    csv.field_size_limit(max(csv.field_size_limit(), MOST_CELL))
    name, encoding = told(source), _encoding(source)
    if separator is None:
        scores = {one: _score(source, encoding, one, table) for one in (",", ";")}
        separator = ";" if scores[";"] > scores[","] else ","
    headers = checked_headers(name, _first(source, encoding, separator))
    if decimal is None:
        decimal = "." if separator == "," or _has_points(_records(source, encoding, separator)) else ","
    if separator == decimal:
        raise InputError(
            field="decimal mark",
            given="a comma between columns and in numbers",
            allowed="one of the two differs",
        )
    chosen = separator
    return Sheet(
        name=name,
        headers=headers,
        rows=lambda: checked_rows(name, _below_header(_records(source, encoding, chosen))),
        style="text",
        decimal=decimal,
    )


def _score(source: Source, encoding: str, separator: str, table: Table) -> tuple[int, int]:
    """How many headers are clear with a separator, then how many there are; none where quotes do not fit."""
    try:
        headers = _first(source, encoding, separator)
    except InputError:
        return -1, 0
    # More than may be are refused later on: to look each of them up would take its time.
    return how_many_known(table, headers[: MOST_COLUMNS + 1]), len(headers)


def _encoding(source: Source) -> str:
    with opened(source) as raw:
        start = raw.read(4096)
    for mark, encoding in _MARKS:
        if start.startswith(mark):
            return encoding
    # Without a mark, text that is mostly of our letters has its zero bytes all on one side in UTF-16.
    even, odd = start[::2].count(0), start[1::2].count(0)
    if max(even, odd) > len(start) // 8:
        return "utf-16-be" if even > odd else "utf-16-le"
    return "utf-8"


def _first(source: Source, encoding: str, separator: str) -> list[str]:
    for _, cells in _records(source, encoding, separator):
        if any(cell.strip() for cell in cells):
            return cells
    return []


def _records(source: Source, encoding: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Every record with its number, blank ones too."""
    name, number = told(source), 0
    with opened(source) as raw, io.TextIOWrapper(raw, encoding=encoding, newline="") as text:
        reader = csv.reader(text, delimiter=separator, strict=True)
        try:
            for number, cells in enumerate(reader, start=1):
                yield number, cells
        except UnicodeError as error:
            raise InputError(
                field=name,
                given=f"bytes after row {number} that are no {encoding.removesuffix('-sig').upper()}",
                allowed="save it as CSV in UTF-8",
            ) from error
        except csv.Error as error:
            raise InputError(
                field=name,
                given=f"row {number + 1}",
                allowed=f"it is no row of CSV ({error}): a cell with quotes is quoted, quotes in it doubled",
            ) from error


def _below_header(records: Iterator[tuple[int, list[str]]]) -> Iterator[Numbered]:
    headed = False
    for number, cells in records:
        if any(cell.strip() for cell in cells):
            if headed:
                yield number, cells
            headed = True


def _has_points(records: Iterator[tuple[int, list[str]]]) -> bool:
    points = False
    for number, cells in records:
        if number > _SAMPLE:
            break
        if any(_WITH_COMMA.fullmatch(cell) for cell in cells):
            return False
        points = points or any(_WITH_POINT.fullmatch(cell) for cell in cells)
    return points
