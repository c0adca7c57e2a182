"""Changing the ledger: one act, with every row it changes written down as it was and as it is.

Guarded by `tests/store/test_contract.py` and `tests/store/test_writer_edges.py`.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.store.reader import LAST_ID, ActRecord, Reader
from canebench.store.records import RECORDS
from canebench.store.refused_edits import stale, taken, whole_number
from canebench.store.tables import TABLES, Column, Row, Table, table_named
from canebench.store.values import checked, plain_text
from canebench.store.wholeness.act_digest import ActDigest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from canebench.store.database import Connection
    from canebench.store.reader import AnyRecord
    from canebench.store.records import Record
    from canebench.store.tables import Value

#: So many values are bound in one statement: the least that any database of ours takes is 32,766.
_MOST_BOUND: Final = 10_000


class Writer(Reader):
    """An act while it is done."""

    def __init__(self, connection: Connection, *, at: str, who: str, kind: str, said: str) -> None:
        super().__init__(connection)
        self.at, self.who = at, plain_text("who", who, most=200)
        self.act_id = self._next("acts")
        self._places = 0
        self._sum = ActDigest()
        #: Told when the act is over; None for one that changed nothing.
        self.digest: str | None = None
        self._act: Row = {"id": self.act_id, "at": at, "who": self.who, "kind": kind, "undoes": None}
        self._act["said"] = plain_text("said", said, most=2000)
        names = list(self._act)
        marks = ", ".join("?" * len(names))
        self.connection.run(f"INSERT INTO acts ({', '.join(names)}) VALUES ({marks})", [*self._act.values()])

    def close(self) -> None:
        """An act that changed nothing leaves no trace but its number."""
        if not self._places:
            self.connection.run("DELETE FROM acts WHERE id = ?", [self.act_id])
            return
        sql = "SELECT digest FROM acts WHERE id < ? ORDER BY id DESC LIMIT 1"
        before = self.connection.rows(sql, [self.act_id])
        self.digest = self._sum.of(self._act, before[0]["digest"] if before else None)
        self.connection.run("UPDATE acts SET digest = ? WHERE id = ?", [self.digest, self.act_id])

    def insert(self, table: str, values: Mapping[str, Value]) -> int:
        """A new row; its id."""
        known = table_named(table)
        row_id = self._next(known.name)
        row: Row = {
            "id": row_id,
            "version": 1,
            "removed_at": None,
            **self._checked(known, values, new=True),
        }
        self._put(known, row)
        self._note(known, row, None, row)
        return row_id

    def insert_many(
        self, table: str, rows: Sequence[Mapping[str, Value]], *, keep: bool = False
    ) -> list[int]:
        """New rows, each checked as `insert` does before any is written; their ids in the same order.

        With `keep`, each row brings an `id` that was never used here, and its `version` (1 where it brings
        none). Guarded by `tests/store/test_import.py`.
        """
        known = table_named(table)
        own = {"id", "version"} if keep else set()
        found = [
            self._values(known, {name: row[name] for name in row if name not in own}, new=True)
            for row in rows
        ]
        self._check_references(known, found)
        self._check_all_unique(known, found)
        ids = self._kept_ids(known, rows) if keep else self._next_many(known.name, len(found))
        versions = [self._kept_version(known, row) if keep else 1 for row in rows]
        made: list[Row] = [
            {"id": row_id, "version": version, "removed_at": None, **values}
            for row_id, version, values in zip(ids, versions, found, strict=True)
        ]
        self._put_many(known.name, made)
        self._note_many(known, made)
        return ids

    def update(self, read: AnyRecord, values: Mapping[str, Value]) -> AnyRecord:
        """Change a row that was read so; refused where it has another version by now."""
        known, now = self._unchanged(read)
        after = {**now, **self._checked(known, values, new=False), "version": now["version"] + 1}
        self._replace(known, after)
        self._note(known, after, now, after)
        return type(read)(**after)

    def remove(self, read: Record) -> None:
        """Put a row that was read so into the bin; refused while others outside the bin refer to it."""
        known, now = self._unchanged(read)
        self._check_free(known, read.id)
        after = {**now, "version": now["version"] + 1, "removed_at": self.at}
        self._replace(known, after)
        self._note(known, after, now, after)

    def undo(self, record: ActRecord) -> None:
        """Put back what an act changed, last change first."""
        put_back: set[tuple[str, int]] = set()
        for table, row_id, before, after in reversed(record.changes):
            known = table_named(table)
            now = self.raw_row(known, row_id)
            touched = (table, row_id) in put_back
            if after is None or not (touched or now["version"] == after["version"] or _same(now, after)):
                raise stale(self, known, row_id, after or {}, now)
            put_back.add((table, row_id))
            back = {**(before or now), "version": now["version"] + 1}
            if before is None:
                back["removed_at"] = self.at
            if back["removed_at"] is None:
                self._check_references(known, [back])
            elif now["removed_at"] is None:
                self._check_free(known, row_id)
            self._replace(known, back)
            self._note(known, back, now, back)
        self._act["undoes"] = record.id
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
            if not self._referred(table, row["id"]):
                self.connection.run(f"DELETE FROM {table.name} WHERE id = ?", [row["id"]])
                self._note(table, row, row, None)
                count += 1
        return count

    def _unchanged(self, read: Record) -> tuple[Table, Row]:
        """The table of a row, and the row as it is now; an error where that is not as it was read."""
        known = table_named(read.table)
        now = self.raw_row(known, read.id)
        if now["version"] != read.version or now["removed_at"] is not None:
            raise stale(self, known, read.id, read.values(), now)
        return known, now

    def _check_free(self, table: Table, row_id: int) -> None:
        for other in TABLES.values():
            for column in other.columns:
                if column.refers == table.name and self.find(RECORDS[other.name], column.name, row_id):
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
        found = self._values(table, values, new=new)
        for column in table.columns:
            if column.refers and found.get(column.name) is not None:
                self._check_reference(table, column, found[column.name])
        return found

    def _values(self, table: Table, values: Mapping[str, Value], *, new: bool) -> Row:
        for name in values:
            table.column(name)
        return {
            column.name: checked(table, column, values.get(column.name))
            for column in table.columns
            if column.name in values or new
        }

    def _check_references(self, table: Table, rows: Sequence[Row]) -> None:
        for column in table.columns:
            if not column.refers:
                continue
            wanted = {row[column.name] for row in rows if row[column.name] is not None}
            sql = f"SELECT id FROM {column.refers} WHERE removed_at IS NULL AND id IN"
            there = {row["id"] for row in self._among(sql, [one for one in wanted if abs(one) <= LAST_ID])}
            for row_id in sorted(wanted - there):
                self._check_reference(table, column, row_id)

    def _check_all_unique(self, table: Table, rows: Sequence[Row]) -> None:
        for column in table.columns:
            if not column.unique:
                continue
            values = [row[column.name] for row in rows if row[column.name] is not None]
            sql = f"SELECT * FROM {table.name} WHERE {column.name} IN"
            for found in list(self._among(sql, values)):
                self._free(table, column, found)
            seen: set[Value] = set()
            for value in values:
                if value in seen:
                    raise taken(table, column, value)
                seen.add(value)

    def _kept_ids(self, table: Table, rows: Sequence[Mapping[str, Value]]) -> list[int]:
        ids = [whole_number(table, "id", row.get("id")) for row in rows]
        used = {row["id"] for row in self._among(f"SELECT id FROM {table.name} WHERE id IN", ids)}
        sql = "SELECT DISTINCT row_id AS id FROM changes WHERE in_table = ? AND row_id IN"
        used |= {row["id"] for row in self._among(sql, ids, table.name)}
        for row_id in ids:
            if row_id in used:
                raise InputError(
                    field=f"id of a {table.noun}", given=f"{row_id}", allowed="it was used before"
                )
            used.add(row_id)
        if ids:
            self._next_many(table.name, 0, least=max(ids))
        return ids

    def _kept_version(self, table: Table, row: Mapping[str, Value]) -> int:
        return whole_number(table, "version", row.get("version", 1))

    def _among(self, sql: str, values: Sequence[Value], *bound: Value) -> Iterator[Row]:
        """Rows of a query that ends in IN, for all values however many."""
        for start in range(0, len(values), _MOST_BOUND // 4):
            part = values[start : start + _MOST_BOUND // 4]
            yield from self.connection.rows(f"{sql} ({', '.join('?' * len(part))})", [*bound, *part])

    def _check_reference(self, table: Table, column: Column, row_id: int) -> None:
        other = TABLES[str(column.refers)]
        sql = f"SELECT removed_at FROM {other.name} WHERE id = ?"
        found = self.connection.rows(sql, [row_id]) if 1 <= row_id <= LAST_ID else []
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
        return int(self.connection.rows("SELECT used FROM counters WHERE name = ?", [name])[0]["used"])

    def _next_many(self, name: str, count: int, *, least: int = 0) -> list[int]:
        """So many numbers never used before; none after them is `least` or less."""
        found = self.connection.rows("SELECT used FROM counters WHERE name = ?", [name])
        used = sum(row["used"] for row in found)
        after = max(used + count, least)
        if not found:
            self.connection.run("INSERT INTO counters (name, used) VALUES (?, ?)", [name, after])
        elif after != used:
            self.connection.run("UPDATE counters SET used = ? WHERE name = ?", [after, name])
        return list(range(used + 1, used + count + 1))

    def _put_many(self, name: str, rows: Sequence[Row]) -> None:
        if not rows:
            return
        names = list(rows[0])
        marks = f"({', '.join('?' for _ in names)})"
        size = _MOST_BOUND // len(names)
        for start in range(0, len(rows), size):
            part = rows[start : start + size]
            sql = f"INSERT INTO {name} ({', '.join(names)}) VALUES {', '.join([marks] * len(part))}"
            self.connection.run(sql, [row[one] for row in part for one in names])

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
            sql = f"SELECT * FROM {table.name} WHERE {column.name} = ? AND id <> ?"
            for found in self.connection.rows(sql, [value, row["id"]]):
                self._free(table, column, found)

    def _free(self, table: Table, column: Column, holder: Row) -> None:
        """A row in the bin gives up a name that is wanted; outside the bin, it keeps it."""
        value = holder[column.name]
        if holder["removed_at"] is None:
            raise taken(table, column, value)
        name = f"{value} (removed {str(holder['removed_at'])[:10]}, {holder['id']})"
        after = {**holder, column.name: name, "version": holder["version"] + 1}
        self._replace(table, after)
        self._note(table, after, holder, after)

    def _note(self, table: Table, row: Row, before: Row | None, after: Row | None) -> None:
        self._put_many("changes", [self._noted(table, row, before, after)])

    def _note_many(self, table: Table, rows: Sequence[Row]) -> None:
        self._put_many("changes", [self._noted(table, row, None, row) for row in rows])

    def _noted(self, table: Table, row: Row, before: Row | None, after: Row | None) -> Row:
        self._places += 1
        note: Row = {
            "act_id": self.act_id,
            "place": self._places,
            "in_table": table.name,
            "row_id": row["id"],
            "before": _json(before),
            "after": _json(after),
        }
        self._sum.add(note)
        return note


def _same(now: Row, then: Row) -> bool:
    """The same but for how often it was changed: what was done since has been undone."""
    return {**now, "version": 0} == {**then, "version": 0}


def _json(row: Row | None) -> str | None:
    return None if row is None else json.dumps(row, ensure_ascii=False, sort_keys=True, allow_nan=False)
