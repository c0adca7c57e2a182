"""Rows as records: what leaves the store has the types that its fields say, and absence is None, never 0."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields
from typing import TYPE_CHECKING

import pytest

from canebench.store.records import RECORDS, PlayerRecord, TakeRecord
from canebench.store.tables import OWN, TABLES

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Column, Value
    from canebench.store.writer import Writer

_TYPES = {"int": int, "flag": int, "real": float}
_AT = "2026-03-01T12:00:00.000Z"


def _value(column: Column) -> Value:
    """The least that a column can hold, so that a number is 0 wherever 0 is allowed."""
    if column.refers:
        return 1
    if column.choices:
        return column.choices[-1]
    if column.pattern:
        return "0123456789abcdef" * 4
    if column.kind in _TYPES:
        return max(0, int(column.low or 0))
    return {"when": _AT, "day": _AT[:10]}.get(column.kind, f"{column.name} in words")


def _fill(act: Writer, *, bare: bool) -> None:
    """A row of every table: whole, or with what is needed alone."""
    for table in TABLES.values():
        told = {c.name: _value(c) for c in table.columns if c.needed or not bare}
        told |= {c.name: f"{table.name} {bare}" for c in table.columns if c.unique}
        act.insert(table.name, told)


def test_every_row_leaves_the_store_with_the_types_of_its_fields(ledger: Ledger) -> None:
    with ledger.act("fill", who="A", said="all of it") as act:
        _fill(act, bare=False)
        _fill(act, bare=True)
    with ledger.reading() as reader:
        for table in TABLES.values():
            whole, bare = reader.rows(RECORDS[table.name])
            assert (whole.id, whole.version, whole.removed_at) == (1, 1, None)
            for column in table.columns:
                value = getattr(whole, column.name)
                assert type(value) is _TYPES.get(column.kind, str), column
                assert column.unique or value == _value(column)
                absent = getattr(bare, column.name)
                assert (absent is None) is not column.needed, column


def test_a_record_holds_the_columns_of_its_table_and_no_others() -> None:
    for name, kind in RECORDS.items():
        assert [field.name for field in fields(kind)] == [*OWN, *(c.name for c in TABLES[name].columns)]


def test_a_record_cannot_be_written_into(ledger: Ledger) -> None:
    with ledger.act("fill", who="A", said="all of it") as act:
        _fill(act, bare=False)
        take = act.row(TakeRecord, 1)
    with pytest.raises(FrozenInstanceError, match="scale"):
        take.scale = "just"  # type: ignore[misc]


def test_zero_is_kept_apart_from_nothing(ledger: Ledger) -> None:
    with ledger.act("fill", who="A", said="two players") as act:
        for name, ceiling in (("none told", None), ("nought", 0.0)):
            act.insert("players", {"name": name, "ceiling_kpa": ceiling})
        told = {one.name: one.ceiling_kpa for one in act.rows(PlayerRecord)}
    assert told == {"none told": None, "nought": 0.0}
