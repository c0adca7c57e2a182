"""Rows of a table in the order of its key, so many at a time: a whole ledger does not fit into memory."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from canebench.store.database import Connection
    from canebench.store.tables import Row, Value

_AT_ONCE: Final = 2_000
_KEYS: Final = {"counters": ("name",), "changes": ("act_id", "place")}


def key_of(name: str) -> tuple[str, ...]:
    """The columns that tell the rows of a table apart, in the order they are sorted by."""
    return _KEYS.get(name, ("id",))


def rows_in_parts(connection: Connection, name: str) -> Iterator[Row]:
    """Every row of a table, in or out of the bin."""
    key = key_of(name)
    order, marks = ", ".join(key), ", ".join("?" * len(key))
    after: list[Value] = []
    while True:
        where = f"WHERE ({order}) > ({marks})" if after else ""
        part = connection.rows(f"SELECT * FROM {name} {where} ORDER BY {order} LIMIT {_AT_ONCE}", after)
        yield from part
        if len(part) < _AT_ONCE:
            return
        after = [part[-1][one] for one in key]
