"""Tables and columns as migrations, exchange and checks need them, from the records of `records`.

Guarded by `tests/store/test_schema.py` and `tests/store/test_records.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from types import MappingProxyType, NoneType, UnionType
from typing import TYPE_CHECKING, Annotated, Any, Final, Union, get_args, get_origin, get_type_hints

from canebench.base.errors import UnknownNameError
from canebench.store.records import RECORDS, Holds, Kind, Record

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

Value = int | float | str | None
#: A row as a database gives it; no other floor sees one.
Row = dict[str, Any]
#: Every row has these beside its table's own columns.
OWN: Final = tuple(field.name for field in fields(Record))
_KINDS: Final[Mapping[object, Kind]] = MappingProxyType({int: "int", float: "real", str: "text"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column.

    `unit` is "" for what has none; `refers` names the table whose `id` it holds; `choices` closes a list of
    words; `low` and `high` bound a number; `pattern` is what a text matches as a whole, "" for any.
    """

    name: str
    kind: Kind
    unit: str = ""
    needed: bool = False
    refers: str | None = None
    choices: tuple[str, ...] = ()
    pattern: str = ""
    low: float | None = None
    high: float | None = None
    unique: bool = False

    @property
    def header(self) -> str:
        """As it stands over a column of numbers: name and unit."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table; `noun` is what one row is called."""

    name: str
    noun: str
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column:
        """The column of that name; an unknown one is an error that lists the known ones."""
        for column in self.columns:
            if column.name == name:
                return column
        raise UnknownNameError(
            field=f"column of {self.name}", given=name, known=[c.name for c in self.columns]
        )


def _columns(record: type[Record]) -> Iterator[Column]:
    """A column for each field of a record, but for those that every row has."""
    told = get_type_hints(record, include_extras=True)
    for field in fields(record):
        if field.name in OWN:
            continue
        kept, holds = told[field.name], Holds()
        if get_origin(kept) is Annotated:
            kept, holds = get_args(kept)
        types = get_args(kept) if get_origin(kept) in (UnionType, Union) else (kept,)
        choices = get_args(types[0])
        yield Column(
            name=field.name,
            kind=holds.kind or ("text" if choices else _KINDS[types[0]]),
            unit=holds.unit,
            needed=NoneType not in types,
            refers=holds.refers,
            choices=choices,
            pattern=holds.pattern,
            low=holds.low,
            high=holds.high,
            unique=holds.unique,
        )


TABLES: Final[Mapping[str, Table]] = MappingProxyType(
    {name: Table(name=name, noun=kind.noun, columns=tuple(_columns(kind))) for name, kind in RECORDS.items()}
)


def table_named(name: str) -> Table:
    """The table of that name; an unknown one is an error that lists the known ones."""
    if name not in TABLES:
        raise UnknownNameError(field="table", given=name, known=TABLES)
    return TABLES[name]
