"""Columns that no act ever wrote go, from the rows and from what was written down of their changes.

Only an import could fill them. Turns of hemp were shown then: they move into the setting's remarks.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.database import Connection

_GONE: Final = {
    "chanters": ("fitting_json",),
    "settings": ("seat_sd_mm", "hemp_turns"),
    "tapes": ("covered_sd_mm",),
}


def upgrade(connection: Connection, dialect: str) -> None:  # noqa: ARG001 - both understand the same
    """Rows and their history alike, so that what was done can still be undone."""
    _move_hemp(connection)
    for table, columns in _GONE.items():
        _rewrite_changes(connection, table)
        for column in columns:
            connection.run(f"ALTER TABLE {table} DROP COLUMN {column}")


def _move_hemp(connection: Connection) -> None:
    for row in connection.rows("SELECT id, hemp_turns, remarks FROM settings WHERE hemp_turns IS NOT NULL"):
        connection.run("UPDATE settings SET remarks = ? WHERE id = ?", (_with_hemp(row), row["id"]))


def _with_hemp(row: Mapping[Any, Any]) -> str:
    hemp = f"hemp: {row['hemp_turns']:g} turns"
    return f"{row['remarks']}; {hemp}" if row["remarks"] else hemp


def _rewrite_changes(connection: Connection, table: str) -> None:
    for row in connection.rows(
        "SELECT act_id, place, before, after FROM changes WHERE in_table = ?", (table,)
    ):
        before, after = _without(table, row["before"]), _without(table, row["after"])
        connection.run(
            "UPDATE changes SET before = ?, after = ? WHERE act_id = ? AND place = ?",
            (before, after, row["act_id"], row["place"]),
        )


def _without(table: str, written: Any) -> str | None:
    if written is None:
        return None
    row = json.loads(written)
    if row.get("hemp_turns") is not None:
        row["remarks"] = _with_hemp(row)
    kept = {name: value for name, value in row.items() if name not in _GONE[table]}
    return json.dumps(kept, ensure_ascii=False, sort_keys=True, allow_nan=False)
