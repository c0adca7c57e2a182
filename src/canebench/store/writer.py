"""Changing the ledger: one act, with every row it changes written down as it was and as it is.

Guarded by `tests/store/test_contract.py`.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from canebench.base.errors import CanebenchError, InputError
from canebench.store.reader import ActRecord, Reader
from canebench.store.tables import TABLES, Column, Row, Table, table_named
from canebench.store.values import checked, plain_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.database import Connection
    from canebench.store.tables import Value


class StaleEditError(CanebenchError):
    """A change to a row that someone else has changed since it was read; both versions are shown."""

    code = "stale"
    exit_status = 8

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


class Writer(Reader):
    """An act while it is done."""

    def __init__(self, connection: Connection, *, at: str, who: str, kind: str, said: str) -> None:
        super().__init__(connection)
        self.at, self.who = at, plain_text("who", who, most=200)
        self.act_id = self._next("acts")
        self._places = 0
        self.connection.run(
            "INSERT INTO acts (id, at, who, kind, said) VALUES (?, ?, ?, ?, ?)",
            [self.act_id, at, self.who, kind, plain_text("said", said, most=2000)],
        )

    def close(self) -> None:
        """An act that changed nothing leaves no trace but its number."""
        if self._places == 0:
            self.connection.run("DELETE FROM acts WHERE id = ?", [self.act_id])

    def insert(self, table: str, values: Mapping[str, Value]) -> int:
        """A new row; its id."""
        known = table_named(table)
        row: Row = {
            "id": self._next(known.name),
            "version": 1,
            "removed_at": None,
            **self._checked(known, values, new=True),
        }
        self._put(known, row)
        self._note(known, row, None, row)
        return int(row["id"] or 0)

    def update(
        self, table: str, row_id: int, values: Mapping[str, Value], *, read: Mapping[str, Value]
    ) -> Row:
        """Change a row that was read as `read`; refused where it has another version by now."""
        known = table_named(table)
        now = self.row(table, row_id)
        if now["version"] != read.get("version") or now["removed_at"] is not None:
            raise StaleEditError(noun=known.noun, row_id=row_id, read=read, now=now)
        after = {**now, **self._checked(known, values, new=False), "version": int(now["version"] or 0) + 1}
        self._replace(known, after)
        self._note(known, after, now, after)
        return after

    def remove(self, table: str, row_id: int, *, read: Mapping[str, Value]) -> None:
        """Into the bin; refused while other rows outside the bin refer to it."""
        known = table_named(table)
        now = self.row(table, row_id)
        if now["version"] != read.get("version") or now["removed_at"] is not None:
            raise StaleEditError(noun=known.noun, row_id=row_id, read=read, now=now)
        self._check_free(known, row_id)
        after = {**now, "version": int(now["version"] or 0) + 1, "removed_at": self.at}
        self._replace(known, after)
        self._note(known, after, now, after)

    def undo(self, record: ActRecord) -> None:
        """Put back what an act changed, last change first."""
        for table, row_id, before, after in reversed(record.changes):
            known = table_named(table)
            now = self.row(table, row_id)
            if after is None or now["version"] != after["version"]:
                raise StaleEditError(noun=known.noun, row_id=row_id, read=after or {}, now=now)
            back = {**(before or now), "version": int(now["version"] or 0) + 1}
            if before is None:
                self._check_free(known, row_id)
                back["removed_at"] = self.at
            self._replace(known, back)
            self._note(known, back, now, back)
        self.connection.run("UPDATE acts SET undoes = ? WHERE id = ?", [record.id, self.act_id])
        self.connection.run("UPDATE acts SET undone_by = ? WHERE id = ?", [self.act_id, record.id])

    def delete_removed(self, table: Table, before: str) -> int:
        """Delete rows that went into the bin before a time, unless something still refers to them."""
        found = self.connection.rows(
            f"SELECT * FROM {table.name} WHERE removed_at < ? ORDER BY id DESC",
            [before],
        )
        count = 0
        for row in found:
            if not self._referred(table, int(row["id"] or 0)):
                self.connection.run(f"DELETE FROM {table.name} WHERE id = ?", [row["id"]])
                self._note(table, row, row, None)
                count += 1
        return count

    def _check_free(self, table: Table, row_id: int) -> None:
        for other in TABLES.values():
            for column in other.columns:
                if column.refers == table.name and self.rows(other.name, {column.name: row_id}, limit=1):
                    raise InputError(
                        field=f"{table.noun} {row_id}",
                        given="a removal",
                        allowed=f"a {other.noun} refers to it: undo or remove that first",
                    )

    def _referred(self, table: Table, row_id: int) -> bool:
        for other in TABLES.values():
            for column in other.columns:
                sql = f"SELECT id FROM {other.name} WHERE {column.name} = ? LIMIT 1"
                if column.refers == table.name and self.connection.rows(sql, [row_id]):
                    return True
        return False

    def _checked(self, table: Table, values: Mapping[str, Value], *, new: bool) -> Row:
        for name in values:
            table.column(name)
        found = {}
        for column in table.columns:
            if column.name in values or new:
                found[column.name] = checked(table, column, values.get(column.name))
                if column.refers and found[column.name] is not None:
                    self._check_reference(table, column, int(found[column.name] or 0))
        return found

    def _check_reference(self, table: Table, column: Column, row_id: int) -> None:
        other = TABLES[str(column.refers)]
        found = self.connection.rows(f"SELECT removed_at FROM {other.name} WHERE id = ?", [row_id])
        if not found or found[0]["removed_at"] is not None:
            raise InputError(
                field=f"{column.name} of a {table.noun}",
                given=f"{row_id}",
                allowed=f"there is no such {other.noun}" if not found else f"that {other.noun} is in the bin",
            )

    def _next(self, name: str) -> int:
        """A number never used before, from 1."""
        changed = self.connection.run("UPDATE counters SET used = used + 1 WHERE name = ?", [name])
        if not changed:
            self.connection.run("INSERT INTO counters (name, used) VALUES (?, 1)", [name])
            return 1
        return int(self.connection.rows("SELECT used FROM counters WHERE name = ?", [name])[0]["used"] or 0)

    def _put(self, table: Table, row: Row) -> None:
        self._check_unique(table, row)
        names = list(row)
        marks = ", ".join("?" for _ in names)
        sql = f"INSERT INTO {table.name} ({', '.join(names)}) VALUES ({marks})"
        self.connection.run(sql, [row[name] for name in names])

    def _replace(self, table: Table, row: Row) -> None:
        self._check_unique(table, row)
        names = [name for name in row if name != "id"]
        sets = ", ".join(f"{name} = ?" for name in names)
        sql = f"UPDATE {table.name} SET {sets} WHERE id = ?"
        self.connection.run(sql, [*(row[name] for name in names), row["id"]])

    def _check_unique(self, table: Table, row: Row) -> None:
        for column in table.columns:
            value = row.get(column.name)
            if not column.unique or value is None:
                continue
            sql = f"SELECT id, removed_at FROM {table.name} WHERE {column.name} = ? AND id <> ?"
            found = self.connection.rows(sql, [value, row["id"]])
            if found:
                where = "in the bin" if found[0]["removed_at"] is not None else "there already"
                raise InputError(
                    field=f"{column.name} of a {table.noun}",
                    given=repr(value),
                    allowed=f"a {table.noun} of that {column.name} is {where}",
                )

    def _note(self, table: Table, row: Row, before: Row | None, after: Row | None) -> None:
        self._places += 1
        self.connection.run(
            "INSERT INTO changes (act_id, place, in_table, row_id, before, after) VALUES (?, ?, ?, ?, ?, ?)",
            [self.act_id, self._places, table.name, row["id"], _json(before), _json(after)],
        )


def _json(row: Row | None) -> str | None:
    return None if row is None else json.dumps(row, ensure_ascii=False, sort_keys=True, allow_nan=False)
