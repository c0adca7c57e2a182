"""What an import's rows refer to: rows of the same import, or of the ledger.

Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.store.exchange.standing import LedgerStanding, unique_column
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.store.exchange.drafts import Draft
    from canebench.store.exchange.findings import TableFound
    from canebench.store.tables import Column, Table, Value


class References:
    """Where each row of the file went, and the rows it refers to."""

    def __init__(self, standing: LedgerStanding, *, kept: bool) -> None:
        self._standing, self._kept = standing, kept
        #: For a table of the import with ids: the file's id -> the ledger's.
        self._placed: dict[str, dict[int, int]] = {}
        self._names: dict[str, dict[Value, int]] = {name: {} for name in TABLES}
        #: Ids and names of rows with problems: what refers to these is no problem of its own.
        self._held: dict[str, set[Value]] = {name: set() for name in TABLES}

    def expect(self, table: str) -> None:
        """A table of the import has ids, so what refers to it means those."""
        self._placed[table] = {}

    def place(self, table: Table, draft: Draft, row_id: int, key: Column | None) -> None:
        """A draft is row `row_id` of the ledger."""
        if draft.id is not None and table.name in self._placed:
            self._placed[table.name][draft.id] = row_id
        if key is not None:
            self._names[table.name][draft.values[key.name]] = row_id

    def follow(self, table: Table, drafts: Sequence[Draft], key: Column | None) -> None:
        """After the others of a batch are placed: doubles go where their twins went, the rest is held."""
        for draft in drafts:
            if draft.fits:
                continue
            name = None if key is None else draft.values[key.name]
            twin = self._names[table.name].get(name) if name is not None else None
            if draft.double and draft.id is not None and table.name in self._placed and twin is not None:
                self._placed[table.name].setdefault(draft.id, twin)
            elif not draft.double:
                self._held[table.name] |= {one for one in (draft.id, name) if one is not None}

    def resolve(self, table: Table, drafts: Sequence[Draft], found: TableFound) -> None:
        """Put ids of the ledger where the file has its own, or names; problems where there are none."""
        for column in table.columns:
            if column.refers is None:
                continue
            other = TABLES[column.refers]
            # Told apart before names are looked up: a name leads to the ledger's id, not to the file's.
            by_id = [
                one for one in drafts if one.values[column.name] is not None and column.name not in one.names
            ]
            self._by_name(column, other, [one for one in drafts if column.name in one.names], found)
            self._by_id(column, other, by_id, found)

    def _by_name(self, column: Column, other: Table, drafts: Sequence[Draft], found: TableFound) -> None:
        key = unique_column(other)
        if key is None or not drafts:
            return
        known = self._names[other.name]
        rows = self._standing.by_name(
            other.name, key, {one.names[column.name] for one in drafts} - set(known)
        )
        for draft in drafts:
            name = draft.names.pop(column.name)
            row = rows.get(name)
            if name in known:
                draft.values[column.name] = known[name]
            elif row is not None and row["removed_at"] is None:
                draft.values[column.name] = row["id"]
            else:
                draft.fits = False
                if name not in self._held[other.name]:
                    why = "is in the bin" if row is not None else "is known"
                    none = "that" if row is not None else "no"
                    found.trouble(
                        draft.row,
                        column.name,
                        repr(name)[:60],
                        f"{none} {other.noun} of that {key.name} {why}",
                        nearest=self._standing.near(other.name, key, name),
                    )

    def _by_id(self, column: Column, other: Table, drafts: Sequence[Draft], found: TableFound) -> None:
        placed = self._placed.get(other.name)
        wanted = {one.values[column.name] for one in drafts}
        standing: dict[int, bool] = {}
        if placed is None or self._kept:
            standing = self._standing.in_use(other.name, wanted - set(placed or ()))
        for draft in drafts:
            row_id = draft.values[column.name]
            if placed is not None and row_id in placed:
                draft.values[column.name] = placed[row_id]
                continue
            if standing.get(row_id):
                continue
            draft.fits = False
            if row_id in self._held[other.name]:
                continue
            if row_id in standing:
                why = f"that {other.noun} is in the bin"
            elif placed is not None and not self._kept:
                why = f"the file holds no such {other.noun}"
            else:
                why = f"there is no such {other.noun}"
            found.trouble(draft.row, column.name, f"{row_id}", why)
