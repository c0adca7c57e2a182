"""XLSX out and in, through openpyxl (the extra `tables`).

Out: one sheet for each table, numbers as numbers with all their digits, text as text that no program takes
for a formula. A text longer than a cell may be goes on in columns after it, `remarks (2)` and so on. The
empty text is `'` (the rule in `protect`). In: values only; a formula is a problem of its row. Guarded by
`tests/store/test_exchange.py` and `tests/faults/test_exchange_fuzz.py`.
"""

from __future__ import annotations

import re
import warnings
from contextlib import contextmanager, suppress
from functools import partial
from io import BytesIO
from itertools import islice
from typing import TYPE_CHECKING, Any, BinaryIO, Final

from canebench.base.errors import CanebenchError, InputError
from canebench.store.exchange.files.unzipped import checked_archive, unreadable
from canebench.store.exchange.protect import marked
from canebench.store.exchange.sheet import (
    MOST_COLUMNS,
    Odd,
    Sheet,
    checked_headers,
    checked_rows,
    extra_needed,
    opened,
    told,
    written_columns,
)
from canebench.store.tables import TABLES, table_named

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from canebench.store.exchange.sheet import Numbered, Source
    from canebench.store.tables import Column, Row, Value

#: The longest text of a cell in this format (ECMA-376).
_LONGEST: Final = 32_767
_BATCH: Final = 500
#: ECMA-376 ST_Xstring: what XML cannot hold (or changes, as it does a carriage return) is `_x000D_`.
_UNHELD: Final = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_HELD: Final = re.compile("_x([0-9A-Fa-f]{4})_")
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
_FURTHER: Final = re.compile(r"(.*) \((\d{1,2})\)")


def write_xlsx(out: BinaryIO, tables: Mapping[str, Iterable[Row]]) -> None:
    """Some tables' rows, a sheet each."""
    book = _openpyxl().Workbook(write_only=True)
    # A file that is full ends in the archive's own end otherwise, which nobody can catch.
    whole = BytesIO()
    try:
        _fill(book, tables)
        book.save(whole)
    except BaseException:
        for sheet in book.worksheets:
            # One that was left open would say so when it is forgotten.
            with suppress(Exception):
                sheet.close()
        raise
    out.write(whole.getbuffer())


def _fill(book: Any, tables: Mapping[str, Iterable[Row]]) -> None:
    openpyxl = _openpyxl()
    for name, rows in tables.items():
        held = list(rows)
        parts = [
            (column, _parts_needed(column, held)) for column in written_columns(table_named(name).columns)
        ]
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        # Without its size, reading goes through a sheet once more for that alone.
        last = openpyxl.utils.get_column_letter(sum(needed for _, needed in parts))
        sheet.calculate_dimension = partial(str, f"A1:{last}{len(held) + 1}")
        sheet.append(
            [
                _text_cell(openpyxl, sheet, column.header if part == 1 else f"{column.header} ({part})")
                for column, needed in parts
                for part in range(1, needed + 1)
            ]
        )
        for row in held:
            sheet.append(
                [
                    cell
                    for column, needed in parts
                    for cell in _cells(openpyxl, sheet, row[column.name], needed)
                ]
            )


def _parts_needed(column: Column, rows: Sequence[Row]) -> int:
    if column.kind != "text":
        return 1
    texts = (row[column.name] for row in rows)
    return max(
        (len(_cut(_escaped(text))) for text in texts if isinstance(text, str) and len(text) > _LONGEST // 7),
        default=1,
    )


def _cells(openpyxl: Any, sheet: Any, value: Value, needed: int) -> list[Any]:
    if isinstance(value, str):
        cells = [_text_cell(openpyxl, sheet, part) for part in _cut(_escaped(value))]
        return cells + [None] * (needed - len(cells))
    if value is None:
        return [None] * needed
    # Given as a number, the library would write 16 digits; a number of ours may need 17.
    cell = openpyxl.cell.WriteOnlyCell(sheet, value=repr(value))
    cell.data_type = "n"
    return [cell]


def _text_cell(openpyxl: Any, sheet: Any, text: str) -> Any:
    cell = openpyxl.cell.WriteOnlyCell(sheet, value=text)
    # Whatever the library took it for: a formula, an error's name.
    cell.data_type = "s"
    if text.startswith(_FORMULA_STARTS):
        cell.quotePrefix = True
    return cell


def _escaped(text: str) -> str:
    return _UNHELD.sub(lambda found: f"_x{ord(found[0]):04X}_", marked(text))


def _cut(text: str) -> list[str]:
    """Pieces that fit into a cell; never through the middle of an escape."""
    # The format counts in UTF-16: what lies beyond 65,535 counts twice.
    most = _LONGEST if text.isascii() or max(text, default="") <= "\uffff" else _LONGEST // 2
    pieces = []
    while len(text) > most:
        end = most
        for found in _HELD.finditer(text, end - 7, end + 7):
            if found.start() < end < found.end():
                end = found.start()
        pieces.append(text[:end])
        text = text[end:]
    return [*pieces, text]


def read_xlsx(source: Source) -> dict[str, Sheet]:
    """Every sheet whose name is a table's; a book of one sheet is that sheet whatever its name, as ``""``."""
    openpyxl = _openpyxl()
    name = told(source)
    with opened(source) as raw:
        checked_archive(name, raw)
    with _book(openpyxl, source) as book:
        names = [one.title for one in book.worksheets]
        wanted = {one: one for one in names if one in TABLES}
        if not wanted and len(names) == 1:
            wanted = {"": names[0]}
        if not wanted:
            raise InputError(
                field=name,
                given=f"sheets {', '.join(names)}"[:200],
                allowed=f"a sheet is called like its table: {', '.join(TABLES)}",
            )
        found = {}
        for table, title in wanted.items():
            first = next(_records(book[title], 1, MOST_COLUMNS + 1), [])
            headers = checked_headers(f"{title} in {name}", [_value(cell) for cell in first])
            found[table] = _sheet(source, f"{title} in {name}", title, headers)
    return found


def _sheet(source: Source, name: str, title: str, headers: tuple[str, ...]) -> Sheet:
    columns: dict[str, list[int]] = {}
    for index, header in enumerate(headers):
        further = _FURTHER.fullmatch(header)
        whole = further[1] if further and further[1] in columns else header
        columns.setdefault(whole, []).append(index)
        if whole == header and len(columns[whole]) > 1:
            raise InputError(
                field=name, given=f"header {header!r:.60} twice", allowed="each column has its own"
            )
    return Sheet(
        name=name,
        headers=tuple(columns),
        rows=lambda: checked_rows(name, _rows(source, title, len(headers), list(columns.values()))),
        style="loose",
    )


def _rows(source: Source, title: str, width: int, columns: list[list[int]]) -> Iterator[Numbered]:
    with _book(_openpyxl(), source) as book:
        # One column more: a cell beyond the headers is not passed over.
        for number, cells in enumerate(_records(book[title], 2, width + 1), start=2):
            values = [_value(cell) for cell in cells]
            if all(value is None for value in values):
                yield number, []
                continue
            values += [None] * (width + 1 - len(values))
            yield number, [*(_joined([values[one] for one in places]) for places in columns), values[width]]


def _records(sheet: Any, first: int, width: int) -> Iterator[Sequence[Any]]:
    """Rows of cells, read a batch at a time so that the library's warnings stay in here."""
    sheet.reset_dimensions()
    rows = sheet.iter_rows(min_row=first, max_col=width)
    while True:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            batch = list(islice(rows, _BATCH))
        yield from batch
        if len(batch) < _BATCH:
            return


def _value(cell: Any) -> object:
    if cell.data_type == "f":
        return Odd("a formula")
    if cell.data_type == "e":
        return Odd(f"the error {str(cell.value)[:20]}")
    if isinstance(cell.value, str):
        return _HELD.sub(lambda found: chr(int(found[1], 16)), cell.value)
    return cell.value


def _joined(values: list[object]) -> object:
    if len(values) > 1 and isinstance(values[0], str):
        return "".join(value for value in values if isinstance(value, str))
    return values[0]


@contextmanager
def _book(openpyxl: Any, source: Source) -> Iterator[Any]:
    """An open book; whatever a damaged one makes the library raise is one error of ours."""
    name = told(source)
    with opened(source) as raw:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                book = openpyxl.load_workbook(raw, read_only=True, data_only=False, keep_links=False)
            yield book
        except (CanebenchError, GeneratorExit, KeyboardInterrupt):
            raise
        except Exception as error:
            # The library has no errors of its own for damaged files: anything may come.
            raise unreadable(name, f"{type(error).__name__}: {error}".splitlines()[0]) from error


def _openpyxl() -> Any:
    try:
        import openpyxl  # noqa: PLC0415 - an optional extra
        import openpyxl.cell  # noqa: PLC0415
        import openpyxl.utils  # noqa: PLC0415
    except ImportError as error:
        raise extra_needed("xlsx") from error
    return openpyxl
