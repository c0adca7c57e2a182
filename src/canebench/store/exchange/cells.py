"""From a cell of a file to a value of a column.

Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.store.exchange.protect import unmarked, unprotected
from canebench.store.exchange.sheet import Odd
from canebench.store.values import checked, plain_text

if TYPE_CHECKING:
    from canebench.store.exchange.headers import Matched
    from canebench.store.exchange.sheet import Sheet
    from canebench.store.tables import Column, Table, Value

_NUMBER: Final = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
_WHOLE: Final = re.compile(r"[-+]?\d+", re.ASCII)
#: More digits than any number needs are a mistake, and slow.
_LONGEST_NUMBER: Final = 400
_LONGEST_SHOWN: Final = 60
_LONGEST_NAME: Final = 200_000
_GREATEST: Final = 2**63 - 1


class CellError(Exception):
    """A cell that its column cannot hold: what was given and what is allowed."""

    def __init__(self, given: str, allowed: str) -> None:
        self.given, self.allowed = given, allowed
        super().__init__(f"{given}: {allowed}")


def is_blank(cell: object) -> bool:
    """Nothing, or nothing but blanks."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def shown(cell: object) -> str:
    """A cell as messages show it."""
    if isinstance(cell, Odd):
        return cell.said
    text = repr(cell)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"


def says_no_zone(cell: object) -> bool:
    """Whether a cell that was read as a time leaves its zone open."""
    if isinstance(cell, str):
        return not cell.endswith("Z") and datetime.fromisoformat(unprotected(cell)).tzinfo is None
    return not isinstance(cell, datetime) or cell.tzinfo is None


def value_of(table: Table, sheet: Sheet, matched: Matched, cell: object) -> Value:
    """The value that a cell stands for, checked against its column."""
    column = matched.column
    if column is None or cell is None:
        return _checked(table, matched, cell, None)
    if isinstance(cell, Odd):
        raise CellError(cell.said, "a value is needed: type it, or paste values only")
    if matched.by_name is not None:
        name = _text(sheet, matched.by_name, cell)
        return _checked(table, matched, cell, None) if name is None else _plain(matched.by_name, name)
    if column.kind in ("text", "when", "day"):
        return _checked(table, matched, cell, _text(sheet, column, cell))
    value = _number(sheet, cell)
    if value is not None and matched.conversion is not None:
        value = matched.conversion(float(value))
    return _checked(table, matched, cell, value)


def _checked(table: Table, matched: Matched, cell: object, value: Value) -> Value:
    if matched.column is None:
        return None
    try:
        return checked(table, matched.column, value)
    except InputError as error:
        given = shown(cell) if value is not None else "nothing"
        if matched.conversion is not None and value is not None:
            given = f"{given} {matched.conversion.unit}, that is {value:.6g} {matched.column.unit}"
        raise CellError(given, error.allowed) from error


def _plain(column: Column, text: str) -> str:
    try:
        return plain_text(column.name, text, most=_LONGEST_NAME)
    except InputError as error:
        raise CellError(shown(text), error.allowed) from error


def _number(sheet: Sheet, cell: object) -> int | float | None:
    if not isinstance(cell, str):
        if isinstance(cell, bool) or not isinstance(cell, (int, float)):
            raise CellError(shown(cell), "a number is needed")
        return _bounded(cell)
    if sheet.style == "typed":
        raise CellError(shown(cell), "a number is needed, without quotes")
    text = cell.strip().replace("−", "-")
    if not text:
        return None
    if sheet.decimal == ",":
        if "." in text:
            raise CellError(shown(cell), "numbers have a decimal comma here, and no points")
        text = text.replace(",", ".")
    if len(text) > _LONGEST_NUMBER or not _NUMBER.fullmatch(text):
        mark = "comma" if sheet.decimal == "," else "point"
        raise CellError(shown(cell), f"a number with a decimal {mark} is needed, without unit or grouping")
    return _bounded(int(text)) if _WHOLE.fullmatch(text) else float(text)


def _bounded(number: float) -> float:
    """A whole number that a float cannot hold is beyond every column."""
    if isinstance(number, int) and abs(number) > _GREATEST:
        raise CellError(f"a number of {len(f'{number:x}') * 1.204:.0f} digits", "a smaller one is needed")
    return number


def _text(sheet: Sheet, column: Column, cell: object) -> str | None:
    if isinstance(cell, str):
        if sheet.style == "text":
            return unprotected(cell) if cell else None
        return unmarked(cell) if sheet.style == "loose" else cell
    if column.kind in ("when", "day"):
        if isinstance(cell, datetime):
            midnight = cell == datetime.combine(cell.date(), datetime.min.time(), cell.tzinfo)
            return cell.date().isoformat() if column.kind == "day" and midnight else cell.isoformat()
        if isinstance(cell, date):
            return cell.isoformat()
    number = isinstance(cell, (int, float)) and not isinstance(cell, bool)
    if sheet.style == "loose" and column.kind == "text" and number:
        return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)
    raise CellError(shown(cell), "text is needed")
