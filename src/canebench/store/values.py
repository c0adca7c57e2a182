"""Whether a value is one that a column can hold."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.store.records import SHA256

if TYPE_CHECKING:
    from canebench.store.tables import Column, Table, Value

_LONGEST_TEXT: Final = 200_000
#: What each pattern of a column asks for, in words.
_PATTERNS: Final = {SHA256: "a SHA-256 is needed: 64 digits from 0 to 9 and a to f"}


def written(moment: datetime) -> str:
    """A time as the ledger writes it: UTC, to the millisecond, sorting as text."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def checked(table: Table, column: Column, value: Value) -> Value:
    """A value that the column can hold, or an error that says why not."""
    where = f"{column.name} of a {table.noun}"
    if value is None:
        if column.needed:
            raise InputError(field=where, given="nothing", allowed="it is needed")
        return None
    if column.kind in ("int", "flag", "real"):
        return _number(where, column, value)
    text = plain_text(where, value, most=_LONGEST_TEXT)
    if column.choices and text not in column.choices:
        raise InputError(field=where, given=repr(text), allowed=f"one of {', '.join(column.choices)}")
    if column.pattern and not re.fullmatch(column.pattern, text):
        raise InputError(field=where, given=repr(text[:80]), allowed=_PATTERNS[column.pattern])
    return _moment(where, column, text) if column.kind in ("when", "day") else text


def _moment(where: str, column: Column, text: str) -> str:
    """A time as `written` writes it, whatever zone it was told in (UTC where in none); or a day."""
    try:
        moment = datetime.fromisoformat(text)
        if column.kind == "day":
            return moment.date().isoformat()
        return written(moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC))
    except (ValueError, OverflowError) as error:
        raise InputError(
            field=where, given=repr(text), allowed="a date like 2026-11-25, or a time after it"
        ) from error


def _number(where: str, column: Column, value: Value) -> int | float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(field=where, given=repr(value)[:60], allowed="a number is needed")
    if column.kind != "real" and value != int(value):
        raise InputError(field=where, given=f"{value:g}", allowed="a whole number is needed")
    low, high = (
        (-math.inf if column.low is None else column.low),
        (math.inf if column.high is None else column.high),
    )
    if not low <= value <= high:
        raise InputError(
            field=where,
            given=f"{value:g} {column.unit}".rstrip(),
            allowed=f"from {low:g} to {high:g} {column.unit} is allowed".replace("  ", " "),
        )
    # SQLite keeps no negative zero: neither does anything else here.
    return float(value) + 0.0 if column.kind == "real" else int(value)


def plain_text(where: str, value: object, *, most: int) -> str:
    """Text that any place can keep, of at most so many characters."""
    if not isinstance(value, str):
        raise InputError(field=where, given=repr(value)[:60], allowed="text is needed")
    if len(value) > most:
        raise InputError(field=where, given=f"{len(value)} characters", allowed=f"at most {most} are kept")
    if "\x00" in value or (not value.isascii() and any("\ud800" <= one <= "\udfff" for one in value)):
        raise InputError(field=where, given="a character that no text has", allowed="plain text is needed")
    return value
