"""Edits that are refused, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import CanebenchError, InputError, NotFoundError
from canebench.store.reader import LAST_ID
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.store.reader import Reader
    from canebench.store.tables import Column, Table, Value

#: So many letters of a long text are shown.
_MOST_SHOWN: Final = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Differing:
    """One thing that is not as it was read: what it is, then and now, in words."""

    field: str
    then: str
    now: str


class StaleEditError(CanebenchError):
    """A change to what someone else has changed since it was read; both versions are shown.

    `version` is that of the row as it stands now, None for what is more than one row.
    """

    code = "stale"
    exit_status = 8
    http_status = 409

    def __init__(self, *, what: str, differ: Sequence[Differing], version: int | None = None) -> None:
        self.differ, self.version = tuple(differ), version
        told = "; ".join(f"{one.field}: {one.then} then, {one.now} now" for one in self.differ)
        super().__init__(
            f"{what} was changed by someone else since. "
            f"{told or 'It was touched again'}. Nothing was changed; look again and repeat."
        )


def stale(
    reader: Reader, table: Table, row_id: int, read: Mapping[str, Value], now: Mapping[str, Value]
) -> StaleEditError:
    """The refusal of a change to a row that was read as `read` and stands as `now`, in the trade's words."""
    columns = {column.name: column for column in table.columns}
    differ = [
        Differing(
            field=name.removesuffix("_id").removesuffix("_kpa").replace("_", " "),
            then=_said(reader, column, read.get(name)),
            now=_said(reader, column, now.get(name)),
        )
        for name, column in columns.items()
        if read.get(name) != now.get(name)
    ]
    if read.get("removed_at") != now.get("removed_at"):
        where = ["in the bin" if one.get("removed_at") else "in use" for one in (read, now)]
        differ.append(Differing(field="where it is", then=where[0], now=where[1]))
    called = now.get("number") or now.get("name") or row_id
    return StaleEditError(what=f"{table.noun} {called}", differ=differ, version=now["version"])  # type: ignore[arg-type]


def _said(reader: Reader, column: Column, value: Value) -> str:
    """A value as a person would tell it: whom or what it refers to by name, its unit beside it."""
    if value is None or value == "":
        return "nothing"
    if column.refers is not None:
        try:
            row = reader.raw_row(TABLES[column.refers], int(value))
        except (NotFoundError, ValueError):
            return "one that is not there any more"
        return str(row.get("name") or row.get("number") or f"{TABLES[column.refers].noun} {value}")
    if column.kind == "when":
        return f"{str(value)[:16].replace('T', ' ')} UTC"
    if isinstance(value, str):
        return f"“{value}”" if len(value) <= _MOST_SHOWN else f"“{value[:_MOST_SHOWN]} …”"
    return f"{value:.4g} {column.unit}".strip()


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
