"""The acts of one row: which they are, found from whichever end is nearer.

Guarded by `tests/store/test_story.py`; figures in `benchmarks/ledger.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.store.database import Connection
    from canebench.store.tables import Row, Table, Value

#: So many rows are looked up in the time that one act is walked through in.
_LOOKED_UP: Final = 2


def acts_of(
    connection: Connection, known: Table, row_id: int, *, newest: int | None = None, skip: int = 0
) -> list[Row]:
    """Acts that touched a row, or a row that refers to it, in the bin or not; newest first.

    With `newest`, only so many, after as many as `skip`. Where little refers to the row, all that ever
    touched it is looked up; where much does, such as a chanter's thousands of takes, the last acts are
    walked through instead.
    """
    referring = {
        other.name: [column.name for column in other.columns if column.refers == known.name]
        for other in TABLES.values()
    }
    referring = {name: columns for name, columns in referring.items() if columns}
    if newest is not None:
        since = _walk_from(connection, referring, row_id, newest + skip)
        if since is not None:
            found = _walked(connection, known, referring, row_id, since)
            # Several of the rows may have come in by one act: then the walk was too short.
            if len(found) >= newest + skip:
                return found[skip : skip + newest]
    return _looked_up(connection, known, referring, row_id, newest, skip)


def last_acts_of(connection: Connection, known: Table, ids: Sequence[int]) -> dict[int, int]:
    """For each of these rows, the newest act that touched it, or the newest row in use that is of it.

    As many queries as tables refer to it, however many rows are asked for.
    """
    found: dict[int, int] = {}
    if not ids:
        return found
    marks = ", ".join("?" * len(ids))
    own = f"SELECT row_id AS value, max(act_id) AS act_id FROM changes WHERE in_table = '{known.name}'"
    queries = [f"{own} AND row_id IN ({marks}) GROUP BY row_id"]
    column = f"{known.noun}_id"
    for other in TABLES.values():
        if any(one.name == column and one.refers == known.name for one in other.columns):
            newest = (
                f"SELECT {column} AS value, max(id) AS newest FROM {other.name} "
                f"WHERE removed_at IS NULL AND {column} IN ({marks}) GROUP BY {column}"
            )
            queries.append(
                f"SELECT value, max(act_id) AS act_id FROM ({newest}) AS of_each JOIN changes "
                f"ON in_table = '{other.name}' AND row_id = newest GROUP BY value"
            )
    for sql in queries:
        for row in connection.rows(sql, list(ids)):
            found[row["value"]] = max(found.get(row["value"], 0), row["act_id"])
    return found


def versions_of(connection: Connection, known: Table, ids: Sequence[int]) -> dict[int, list[str]]:
    """Each of these rows as one act after another left it, oldest first, in JSON.

    One query, and of the acts that touched a row nothing but the row itself is read.
    """
    found: dict[int, list[str]] = {row_id: [] for row_id in ids}
    if ids:
        marks = ", ".join("?" * len(ids))
        changes = f"SELECT row_id, after FROM changes WHERE in_table = '{known.name}' AND row_id IN ({marks})"
        ordered = f"{changes} AND after IS NOT NULL ORDER BY act_id, place"
        for row_id, after in connection.tuples(ordered, list(ids)):
            found[row_id].append(after)
    return found


def _walk_from(
    connection: Connection, referring: dict[str, list[str]], row_id: int, wanted: int
) -> int | None:
    """The act to walk from: that of the last `wanted` rows of one table; None where looking up is quicker."""
    rows, since = 0, 0
    for name, columns in referring.items():
        for column in columns:
            where = f"FROM {name} WHERE {column} = ?"
            count = connection.rows(f"SELECT count(*) AS n {where}", [row_id])[0]["n"]
            rows += count
            if count < wanted:
                continue
            last = f"SELECT id {where} ORDER BY id DESC LIMIT 1 OFFSET {wanted - 1}"
            sql = f"SELECT min(act_id) AS first FROM changes WHERE in_table = ? AND row_id = ({last})"
            since = max(since, int(connection.rows(sql, [name, row_id])[0]["first"] or 0))
    now = connection.rows("SELECT max(id) AS n FROM acts")[0]["n"]
    return since if since and _LOOKED_UP * (now - since) < rows else None


def _walked(
    connection: Connection, known: Table, referring: dict[str, list[str]], row_id: int, since: int
) -> list[Row]:
    cases = ""
    values: list[Value] = [since]
    for name in {known.name: None, **referring}:
        tests = ["row_id = ?"] if name == known.name else []
        tests += [
            f"EXISTS (SELECT 1 FROM {name} WHERE id = row_id AND {column} = ?)"
            for column in referring.get(name, [])
        ]
        cases += f" WHEN '{name}' THEN {' OR '.join(tests)}"
        values += [row_id] * len(tests)
    # As a case, so that no database takes the index of rows for it.
    touched = f"SELECT act_id FROM changes WHERE act_id >= ? AND CASE in_table{cases} ELSE FALSE END"
    return connection.rows(f"SELECT * FROM acts WHERE id IN ({touched}) ORDER BY id DESC", values)


def _looked_up(
    connection: Connection,
    known: Table,
    referring: dict[str, list[str]],
    row_id: int,
    newest: int | None,
    skip: int,
) -> list[Row]:
    parts = ["SELECT act_id FROM changes WHERE in_table = ? AND row_id = ?"]
    values: list[Value] = [known.name, row_id]
    for name, columns in referring.items():
        for column in columns:
            rows = f"SELECT id FROM {name} WHERE {column} = ?"
            parts.append(f"SELECT act_id FROM changes WHERE in_table = '{name}' AND row_id IN ({rows})")
            values.append(row_id)
    last = "" if newest is None else f" LIMIT {int(newest)} OFFSET {int(skip)}"
    touched = " UNION ".join(parts)
    return connection.rows(f"SELECT * FROM acts WHERE id IN ({touched}) ORDER BY id DESC{last}", values)
