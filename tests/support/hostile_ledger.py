"""A ledger whose every free text is a payload."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.notes import NOTES
from canebench.store.tables import TABLES

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Column, Value

_AT = "2026-03-02T19:00:00Z"


def fill(ledger: Ledger, texts: list[str]) -> None:
    """One row of each table for each text, all of them told of one another."""
    for n, text in enumerate(texts):
        with ledger.act("fit", who=text[:200], said=text) as act:
            ids: dict[str, int] = {}
            for table in TABLES.values():
                row = {column.name: _value(column, text, n, ids) for column in table.columns}
                ids[table.name] = act.insert(table.name, row)


def _value(column: Column, text: str, n: int, ids: dict[str, int]) -> Value:
    if column.refers is not None:
        return ids.get(column.refers)
    closed = {"note": NOTES, "hole": NOTES}.get(column.name, column.choices)
    if closed:
        return closed[n % len(closed)]
    if column.name in ("recording_sha256", "chanter_toml"):
        return None
    if column.name == "scale" and n % 2:
        return "harmonic"
    known: dict[str, Value] = {
        "text": text,
        "when": _AT,
        "day": "2026-03-02",
        "int": 1,
        "flag": 0,
        "real": {"hz": 478.0, "reference_hz": 478.0, "low_a_hz": 478.0, "level_dba": 90.0}.get(
            column.name, 1.0
        ),
    }
    return known[column.kind]
