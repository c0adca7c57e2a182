"""Edits that are refused, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.errors import CanebenchError, InputError
from canebench.store.reader import LAST_ID

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.tables import Column, Table, Value


class StaleEditError(CanebenchError):
    """A change to a row that someone else has changed since it was read; both versions are shown."""

    code = "stale"
    exit_status = 8
    http_status = 409

    def __init__(
        self, *, noun: str, row_id: int, read: Mapping[str, Value], now: Mapping[str, Value]
    ) -> None:
        self.read, self.now = dict(read), dict(now)
        names = sorted({*read, *now} - {"version"})
        differ = [
            f"{name}: {read.get(name)!r} then, {now.get(name)!r} now"
            for name in names
            if read.get(name) != now.get(name)
        ]
        super().__init__(
            f"{noun} {row_id} was changed by someone else since. "
            f"{'; '.join(differ) or 'It was touched again'}. Nothing was changed; look again and repeat."
        )


def taken(table: Table, column: Column, value: Value) -> InputError:
    """Refusal of a value that must be one row's alone and is another's."""
    return InputError(
        field=f"{column.name} of a {table.noun}",
        given=repr(value),
        allowed=f"a {table.noun} of that {column.name} is there already",
    )


def whole_number(table: Table, name: str, value: Value) -> int:
    """The value as a whole number from 1; an error says what was given."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= LAST_ID:
        raise InputError(
            field=f"{name} of a {table.noun}",
            given=repr(value)[:60],
            allowed="a whole number from 1 is needed",
        )
    return value
