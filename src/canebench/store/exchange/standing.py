"""What stands in the ledger before an import, asked for many rows at a time.

Rows that the import itself has written do not count: looking and writing must come to the same. Guarded by
`tests/store/test_import.py`.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Final

from canebench.base.parsing import folded
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from canebench.store.reader import Reader
    from canebench.store.tables import Column, Row, Table, Value

_AT_ONCE: Final = 500


class LedgerStanding:
    """The ledger's rows as an import meets them."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        counted = {row["name"]: row["used"] for row in reader.connection.rows("SELECT * FROM counters")}
        #: The last id that each table has given.
        self.last: Final = {name: counted.get(name, 0) for name in TABLES}
        self._in_use: dict[str, dict[int, bool]] = {name: {} for name in TABLES}
        self._keys: dict[str, set[Value]] = {name: set() for name in TABLES}
        self._near: dict[str, dict[str, str]] = {}
        self._twins: dict[str, dict[bytes, int]] = {name: {} for name in TABLES}

    def in_use(self, table: str, ids: set[int]) -> dict[int, bool]:
        """For each id that is there: whether it is outside the bin."""
        known, last = self._in_use[table], self.last[table]
        missing = [one for one in ids if one not in known and 1 <= one <= last]
        sql = f"SELECT id, removed_at FROM {table} WHERE id IN"
        for row in self._among(sql, missing):
            known[row["id"]] = row["removed_at"] is None
        return {one: known[one] for one in ids if one in known}

    def by_id(self, table: str, ids: set[int]) -> dict[int, Row]:
        """Rows, in the bin or not."""
        found = self._among(f"SELECT * FROM {table} WHERE id IN", ids)
        return {row["id"]: row for row in found}

    def ever_used(self, table: str, ids: set[int]) -> set[int]:
        """Those ids that history knows."""
        sql = f"SELECT DISTINCT row_id AS id FROM changes WHERE in_table = '{table}' AND row_id IN"
        return {row["id"] for row in self._among(sql, ids)}

    def by_name(self, table: str, column: Column, names: Iterable[Value]) -> dict[Value, Row]:
        """Rows by the value of a column that is unique, in the bin or not."""
        sql = f"SELECT * FROM {table} WHERE {column.name} IN"
        found = self._among(sql, names)
        return {row[column.name]: row for row in found if row["id"] <= self.last[table]}

    def near(self, table: str, column: Column, name: Value) -> str | None:
        """The name outside the bin that is this one but for capitals, spaces and leading zeros."""
        if table not in self._near:
            sql = f"SELECT {column.name} AS name FROM {table} WHERE removed_at IS NULL AND id <= ?"
            found = self._reader.connection.rows(sql, [self.last[table]])
            self._near[table] = {folded(str(row["name"])): str(row["name"]) for row in found}
        return self._near[table].get(folded(str(name)))

    def twin(self, table: Table, rows: Iterable[Mapping[str, Value]]) -> dict[bytes, int]:
        """Ids of rows outside the bin by their digest, for all that may equal one of these."""
        key = _search_key(table).name
        fresh = {row[key] for row in rows} - self._keys[table.name] - {None}
        self._keys[table.name] |= fresh
        last = self.last[table.name]
        sql = f"SELECT * FROM {table.name} WHERE removed_at IS NULL AND id <= {last} AND {key} IN"
        for row in self._among(sql, fresh) if last else ():
            values = {column.name: row[column.name] for column in table.columns}
            self._twins[table.name].setdefault(digest(values), row["id"])
        return self._twins[table.name]

    def _among(self, sql: str, values: Iterable[Value]) -> Iterable[Row]:
        every = list(values)
        for start in range(0, len(every), _AT_ONCE):
            part = every[start : start + _AT_ONCE]
            yield from self._reader.connection.rows(f"{sql} ({', '.join('?' * len(part))})", part)


def digest(values: Mapping[str, Value]) -> bytes:
    """Equal for equal values in equal order."""
    text = json.dumps(list(values.values()))
    return hashlib.blake2b(text.encode(), digest_size=16).digest()


def unique_column(table: Table) -> Column | None:
    """The column that tells a table's rows apart by name."""
    return next((column for column in table.columns if column.unique), None)


def _search_key(table: Table) -> Column:
    """A column that every row fills and that has an index."""
    return next(c for c in table.columns if c.needed and (c.name == "at" or c.refers))
