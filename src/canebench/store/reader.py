"""Reading the ledger: rows as records, history, everything, in one unchanging state.

Guarded by `tests/store/test_contract.py`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, TypeVar

from canebench.base.errors import NotFoundError
from canebench.store.records import Record, as_records, columns_of
from canebench.store.story import acts_of, last_acts_of, versions_of
from canebench.store.tables import OWN, TABLES, Row, Table, Value

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from canebench.store.database import Connection

AnyRecord = TypeVar("AnyRecord", bound=Record)
#: No id is greater: every reader of an export keeps numbers up to here exactly.
LAST_ID: Final = 2**53
#: So many numbers are asked for in one query.
_AT_ONCE: Final = 5_000
#: Columns, and a text that is to stand in one of them.
Like = tuple[tuple[str, ...], str]
#: A column, values, and whether it holds one of them, or none.
Among = tuple[str, "Sequence[Value]", bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class ActRecord:
    """An act as history shows it: `changes` as (table, row id, before, after)."""

    id: int
    at: str
    who: str
    kind: str
    said: str
    undoes: int | None
    undone_by: int | None
    digest: str | None = None
    changes: tuple[tuple[str, int, Row | None, Row | None], ...] = field(default=())


class Reader:
    """Rows as they are in one state."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def rows(
        self,
        record: type[AnyRecord],
        where: Mapping[str, Value] | None = None,
        *,
        order: str = "id",
        limit: int | None = None,
        offset: int = 0,
        removed: bool = False,
        like: Like | None = None,
    ) -> list[AnyRecord]:
        """Rows of a table that match, in the order of a column (`-column` the other way about).

        `like` is columns and a text that stands somewhere in one, in small letters or capitals. The order
        `#column` puts texts by their length first: 2 before 10.
        """
        known = TABLES[record.table]
        condition, values = _condition(known, where, like, removed=removed)
        sql = f"{_select(record)} WHERE {condition} {_in_order(known, order, limit, offset)}"
        return as_records(record, self.connection.tuples(sql, values))

    def row(self, record: type[AnyRecord], row_id: int) -> AnyRecord:
        """One row, in the bin or not; an error where there is none."""
        found = self.raw_row(TABLES[record.table], row_id)
        return as_records(record, [[found[name] for name in columns_of(record)]])[0]

    def raw_row(self, table: Table, row_id: int) -> Row:
        """One row as it stands in the database."""
        found = self._by_id(table.name, row_id)
        if not found:
            raise NotFoundError(f"There is no {table.noun} {row_id} in this ledger.")
        return found[0]

    def raw_rows(self, table: Table) -> list[Row]:
        """Every row outside the bin as it stands in the database."""
        return self.connection.rows(f"SELECT * FROM {table.name} WHERE removed_at IS NULL ORDER BY id")

    def find(self, record: type[AnyRecord], name: str, value: Value) -> AnyRecord | None:
        """The row whose column has that value, None where there is none (outside the bin)."""
        found = self.rows(record, {name: value}, limit=1)
        return found[0] if found else None

    def texts(self, record: type[Record], column: str) -> list[str]:
        """What stands in a column of all rows outside the bin, where anything does."""
        known = TABLES[record.table]
        _checked_name(known, column)
        sql = f"SELECT {column} AS value FROM {known.name} WHERE removed_at IS NULL AND {column} IS NOT NULL"
        return [str(row["value"]) for row in self.connection.rows(f"{sql} ORDER BY id")]

    def count(
        self,
        record: type[Record],
        where: Mapping[str, Value] | None = None,
        *,
        like: Like | None = None,
    ) -> int:
        """How many rows there are outside the bin, that match."""
        known = TABLES[record.table]
        condition, values = _condition(known, where, like, removed=False)
        sql = f"SELECT count(*) AS n FROM {known.name} WHERE {condition}"
        return int(self.connection.rows(sql, values)[0]["n"])

    def lain_since(self, table: Table, before: str) -> bool:
        """Whether a row has lain in the bin since before then."""
        sql = f"SELECT id FROM {table.name} WHERE removed_at < ? LIMIT 1"
        return bool(self.connection.rows(sql, [before]))

    def counts(
        self,
        record: type[Record],
        column: str,
        where: Mapping[str, Value] | None = None,
        *,
        like: Like | None = None,
        least: int = 1,
    ) -> dict[Value, int]:
        """How many rows there are outside the bin, that match, for each value that `least` of them have."""
        known = TABLES[record.table]
        _checked_name(known, column)
        condition, values = _condition(known, where, like, removed=False)
        sql = f"SELECT {column}, count(*) FROM {known.name} WHERE {condition} GROUP BY {column}"
        return dict(self.connection.tuples(f"{sql} HAVING count(*) >= ?", [*values, least]))

    def of_many(
        self, record: type[AnyRecord], column: str, ids: Collection[Value], *, order: str = "id"
    ) -> list[AnyRecord]:
        """Rows outside the bin whose column holds one of these, in the order of another."""
        known = TABLES[record.table]
        _checked_name(known, column)
        _checked_name(known, order)
        if not ids:
            return []
        marks = ", ".join("?" * len(ids))
        sql = f"{_select(record)} WHERE removed_at IS NULL AND {column} IN ({marks})"
        return as_records(record, self.connection.tuples(f"{sql} ORDER BY {order}, id", list(ids)))

    def by_id(self, record: type[AnyRecord], ids: Iterable[int | None]) -> dict[int | None, AnyRecord]:
        """Rows outside the bin by their id; an id that is None has none."""
        return {row.id: row for row in self.of_many(record, "id", list({*ids} - {None}))}

    def newest_of_many(
        self, record: type[AnyRecord], column: str, ids: Sequence[Value], *, order: str
    ) -> list[AnyRecord]:
        """For each of these, which the column refers to, the last in that order outside the bin."""
        return as_records(record, self.newest_columns(record, columns_of(record), column, ids, order=order))

    def columns(
        self,
        record: type[Record],
        names: Sequence[str],
        where: Mapping[str, Value] | None = None,
        *,
        among: Sequence[Among] = (),
        order: str = "id",
        limit: int | None = None,
        offset: int = 0,
    ) -> list[tuple[Any, ...]]:
        """As `rows`, some columns alone, of rows whose columns are `among` values, or are not."""
        known = TABLES[record.table]
        condition, values = _condition(known, where, None, removed=False)
        for column, some, inside in among:
            # Of no values there is no list in SQL.
            marks = ", ".join("?" * len(some)) or "NULL"
            _checked_name(known, column)
            if inside:
                condition += f" AND {column} IN ({marks})"
            elif some:
                condition += f" AND ({column} IS NULL OR {column} NOT IN ({marks}))"
            values += some
        for name in names:
            _checked_name(known, name)
        end = _in_order(known, order, limit, offset)
        sql = f"SELECT {', '.join(names)} FROM {known.name} WHERE {condition} {end}"
        return self.connection.tuples(sql, values)

    def newest_columns(
        self, record: type[Record], names: Sequence[str], column: str, ids: Sequence[Value], *, order: str
    ) -> list[tuple[Any, ...]]:
        """As `newest_of_many`, some columns alone."""
        known = TABLES[record.table]
        for name in (*names, order):
            _checked_name(known, name)
        told = ", ".join(f"own.{name}" for name in names)
        newest = f"SELECT id FROM {known.name} WHERE {column} = whose.id AND removed_at IS NULL"
        last = f"{newest} ORDER BY {order} DESC, id DESC LIMIT 1"
        pairs = f"{known.column(column).refers} AS whose JOIN {known.name} AS own ON own.id = ({last})"
        sql, found = f"SELECT {told} FROM {pairs} WHERE whose.id IN", list[tuple[Any, ...]]()
        for start in range(0, len(ids), _AT_ONCE):
            some = ids[start : start + _AT_ONCE]
            marks = ", ".join("?" * len(some))
            found += self.connection.tuples(f"{sql} ({marks}) ORDER BY own.id", list(some))
        return found

    def sums(self, record: type[Record], column: str, by: str, ids: Sequence[Value]) -> dict[Value, float]:
        """The sum of a column over the rows outside the bin that hold each of these, where there are any."""
        known = TABLES[record.table]
        _checked_name(known, column)
        _checked_name(known, by)
        if not ids:
            return {}
        marks = ", ".join("?" * len(ids))
        sql = f"SELECT {by}, sum({column}) FROM {known.name} WHERE removed_at IS NULL AND {by} IN ({marks})"
        found = self.connection.tuples(f"{sql} GROUP BY {by}", list(ids))
        return {value: total for value, total in found if total is not None}

    def act(self, act_id: int) -> ActRecord:
        """One act with its changes."""
        found = self._by_id("acts", act_id)
        if not found:
            raise NotFoundError(f"There is no act {act_id} in this ledger.")
        changes = self.connection.rows("SELECT * FROM changes WHERE act_id = ? ORDER BY place", [act_id])
        return _act(found[0], changes)

    def history(
        self, *, limit: int = 50, before: int | None = None, search: str | None = None
    ) -> list[ActRecord]:
        """Acts, newest first; with `search`, those in which that text stands, or that so-called did."""
        parts = ["id < ?"]
        values: list[Value] = [LAST_ID + 1 if before is None else before]
        if search is not None:
            text, wanted = _holding(("said", "who"), search)
            parts.append(text)
            values += wanted
        sql = f"SELECT * FROM acts WHERE {' AND '.join(parts)} ORDER BY id DESC LIMIT {int(limit)}"
        return [_act(row, []) for row in self.connection.rows(sql, values)]

    def last_acts(self, record: type[Record], ids: Sequence[int]) -> dict[int, ActRecord]:
        """For each of these rows, the last act on it or on what is of it, where there is one."""
        newest = last_acts_of(self.connection, TABLES[record.table], ids)
        marks = ", ".join("?" * len(set(newest.values())))
        sql = f"SELECT * FROM acts WHERE id IN ({marks})"
        acts = {row["id"]: _act(row, []) for row in self.connection.rows(sql, [*set(newest.values())])}
        return {row_id: acts[act_id] for row_id, act_id in newest.items() if act_id in acts}

    def story(
        self, record: type[Record], row_id: int, *, newest: int | None = None, skip: int = 0
    ) -> list[ActRecord]:
        """Every act that touched one row, or a row that refers to it, in the bin or not, oldest first.

        With `newest`, only so many of the last, `skip` before the very last: a page of a long story. The
        number of queries does not grow with the story, but for one more for each 5,000 acts.
        """
        known = TABLES[record.table]
        safe = row_id if 1 <= row_id <= LAST_ID else 0
        acts = acts_of(self.connection, known, safe, newest=newest, skip=skip)[::-1]
        changes: dict[Value, list[Row]] = {act["id"]: [] for act in acts}
        for start in range(0, len(acts), _AT_ONCE):
            ids = [act["id"] for act in acts[start : start + _AT_ONCE]]
            marks = ", ".join("?" * len(ids))
            sql = f"SELECT * FROM changes WHERE act_id IN ({marks}) ORDER BY act_id, place"
            for change in self.connection.rows(sql, ids):
                changes[change["act_id"]].append(change)
        return [_act(act, changes[act["id"]]) for act in acts]

    def versions(self, record: type[Record], ids: Sequence[int]) -> dict[int, list[Row]]:
        """Each of these rows as one act after another left it, oldest first."""
        told = versions_of(self.connection, TABLES[record.table], ids)
        return {row_id: [json.loads(one) for one in texts] for row_id, texts in told.items()}

    def _by_id(self, name: str, row_id: int) -> list[Row]:
        """The row of that number, if any; no database is asked about a number too great for it."""
        if not 1 <= row_id <= LAST_ID:
            return []
        return self.connection.rows(f"SELECT * FROM {name} WHERE id = ?", [row_id])

    def last_act(self) -> ActRecord | None:
        """The newest act that was not undone and is no undoing itself."""
        sql = "SELECT * FROM acts WHERE undone_by IS NULL AND undoes IS NULL ORDER BY id DESC LIMIT 1"
        found = self.connection.rows(sql)
        return self.act(found[0]["id"]) if found else None

    def dump(self) -> dict[str, list[Row]]:
        """Everything, table by table in order of id: equal ledgers give equal dumps."""
        found = {
            name: self.connection.rows(f"SELECT * FROM {name} ORDER BY id") for name in ("acts", *TABLES)
        }
        found["changes"] = self.connection.rows("SELECT * FROM changes ORDER BY act_id, place")
        return found


def _select(record: type[Record]) -> str:
    return f"SELECT {', '.join(columns_of(record))} FROM {record.table}"


def _in_order(known: Table, order: str, limit: int | None, offset: int) -> str:
    name = order.lstrip("-#")
    _checked_name(known, name)
    way = " DESC" if order.startswith("-") else ""
    length = f"length({name}), " if order.startswith("#") else ""
    part = "" if limit is None else f" LIMIT {int(limit)} OFFSET {int(offset)}"
    return f"ORDER BY {length}{name}{way}, id{way}{part}"


def _condition(
    known: Table, where: Mapping[str, Value] | None, like: Like | None, *, removed: bool
) -> tuple[str, list[Value]]:
    parts, values = ["removed_at IS NOT NULL" if removed else "removed_at IS NULL"], list[Value]()
    for name, value in (where or {}).items():
        _checked_name(known, name)
        if value is None:
            parts.append(f"{name} IS NULL")
        else:
            parts.append(f"{name} = ?")
            values.append(value)
    if like is not None:
        columns, text = like
        for name in columns:
            _checked_name(known, name)
        part, wanted = _holding(columns, text)
        parts.append(part)
        values += wanted
    return " AND ".join(parts), values


def _holding(columns: Sequence[str], text: str) -> tuple[str, list[Value]]:
    """The condition that a text stands somewhere in one of the columns, and what is bound for it."""
    wanted = text.lower().replace("!", "!!").replace("%", "!%").replace("_", "!_")
    part = " OR ".join(f"lower({name}) LIKE ? ESCAPE '!'" for name in columns)
    return f"({part})", [f"%{wanted}%"] * len(columns)


def _checked_name(table: Table, name: str) -> None:
    if name not in OWN:
        table.column(name)


def _act(row: Row, changes: Sequence[Row]) -> ActRecord:
    told = ((one["in_table"], one["row_id"], _row(one["before"]), _row(one["after"])) for one in changes)
    return ActRecord(**row, changes=tuple(told))


def _row(text: str | None) -> Row | None:
    if text is None:
        return None
    found: Row = json.loads(text)
    return found
