"""A file's rows as drafts of a table's rows.

Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from canebench.store.exchange.cells import CellError, is_blank, says_no_zone, shown, value_of
from canebench.store.exchange.findings import ImportChoices, TableFound
from canebench.store.exchange.headers import Matched, match_headers
from canebench.store.exchange.sheet import ID, VERSION

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.store.exchange.sheet import Sheet
    from canebench.store.tables import Column, Row, Table

_OWN = (ID.name, VERSION.name)
_SINCE = "state_since"


@dataclass(slots=True, kw_only=True)
class Draft:
    """A row on its way in: `names` are what columns that refer are called, until they are looked up.

    `fits` until there is a problem with it or it is a `double`.
    """

    row: int
    values: Row
    id: int | None = None
    version: int = 1
    names: dict[str, str] = field(default_factory=dict)
    fits: bool = True
    double: bool = False


def as_row(draft: Draft, *, kept: bool) -> Row:
    """What is written of a draft."""
    return {"id": draft.id, "version": draft.version, **draft.values} if kept else draft.values


class Reading:
    """A sheet read as a table."""

    def __init__(self, table: Table, sheet: Sheet, choices: ImportChoices) -> None:
        self._table, self._sheet, self._kept = table, sheet, choices.ids == "kept"
        self._now = choices.now
        matched = match_headers(table, sheet.headers, choices.mapping.get(table.name, {}))
        self.found = TableFound(table=table.name, matched=matched, decimal=sheet.decimal)
        used = {one.column.name for one in matched if one.column is not None}
        self.has_ids = ID.name in used
        for one in matched:
            if one.allowed is not None:
                self.found.trouble(1, one.header, "this header", one.allowed, nearest=one.nearest)
        for column in (*((ID,) if self._kept else ()), *table.columns):
            if column.needed and column.name not in used and not self._assumes(column):
                self.found.trouble(1, column.header, "no such column", "it is needed")
        # Ids only tell rows apart when they are not kept; versions say nothing then.
        self._untold = [c.name for c in table.columns if c.name not in used and self._assumes(c)]
        self._read = [one for one in matched if one.column is not None and self._wanted(one)]
        self._blank = [one.index for one in matched if not one.header.strip() and one.column is None]
        self._empty: Row = dict.fromkeys(column.name for column in table.columns)

    def _assumes(self, column: Column) -> bool:
        """Whether what nobody tells is taken to be so since now: a plain list has no such column."""
        return column.name == _SINCE and self._now is not None and not self._kept

    def _wanted(self, one: Matched) -> bool:
        return self._kept or one.column is None or one.column.name != VERSION.name

    def draft(self, number: int, cells: Sequence[object]) -> Draft | None:
        """A row's draft; None for a blank one. Its problems are told to `found`."""
        if all(is_blank(cell) for cell in cells):
            return None
        made = Draft(row=number, values=dict(self._empty))
        width = len(cells)
        for one in self._read:
            cell = cells[one.index] if one.index < width else None
            try:
                self._fill(made, one, cell)
            except CellError as error:
                made.fits = False
                self.found.trouble(number, one.header, error.given, error.allowed)
        for name in self._untold:
            made.values[name] = self._now
            self.found.since_now += 1
        beyond = [cells[index] for index in self._blank if index < width]
        for cell in (*beyond, *cells[len(self._sheet.headers) :]):
            if not is_blank(cell):
                made.fits = False
                self.found.trouble(number, "no header", shown(cell), "a cell needs a header above it")
        return made

    def _fill(self, made: Draft, one: Matched, cell: object) -> None:
        if one.column is None:
            return
        name = one.column.name
        if name in _OWN:
            if is_blank(cell) and not self._kept:
                return
            value = value_of(self._table, self._sheet, one, cell)
            if name == ID.name:
                made.id = int(value or 0)
            else:
                made.version = int(value or 1)
            return
        if is_blank(cell) and self._assumes(one.column):
            made.values[name] = self._now
            self.found.since_now += 1
            return
        value = value_of(self._table, self._sheet, one, cell)
        if one.by_name is not None and isinstance(value, str):
            made.names[name] = value
        else:
            made.values[name] = value
            if one.column.kind == "when" and value is not None and says_no_zone(cell):
                self.found.zoneless += 1
