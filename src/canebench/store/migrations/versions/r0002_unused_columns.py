"""Columns that no act ever wrote go, from the rows and from what was written down of their changes.

Only an import could fill them. Turns of hemp were shown then: they move into the setting's remarks.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from alembic import op
from sqlalchemy import text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy import Connection

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_GONE: Final = {
    "chanters": ("fitting_json",),
    "settings": ("seat_sd_mm", "hemp_turns"),
    "tapes": ("covered_sd_mm",),
}


def upgrade() -> None:
    """Rows and their history alike, so that what was done can still be undone."""
    connection = op.get_bind()
    _move_hemp(connection)
    for table, columns in _GONE.items():
        _rewrite_changes(connection, table)
        for column in columns:
            op.execute(f"ALTER TABLE {table} DROP COLUMN {column}")


def _move_hemp(connection: Connection) -> None:
    found = connection.execute(
        text("SELECT id, hemp_turns, remarks FROM settings WHERE hemp_turns IS NOT NULL")
    )
    for row in found.mappings().all():
        connection.execute(
            text("UPDATE settings SET remarks = :remarks WHERE id = :id"),
            {"remarks": _with_hemp(row), "id": row["id"]},
        )


def _with_hemp(row: Mapping[Any, Any]) -> str:
    hemp = f"hemp: {row['hemp_turns']:g} turns"
    return f"{row['remarks']}; {hemp}" if row["remarks"] else hemp


def _rewrite_changes(connection: Connection, table: str) -> None:
    found = connection.execute(
        text("SELECT act_id, place, before, after FROM changes WHERE in_table = :name"), {"name": table}
    )
    for row in found.mappings().all():
        connection.execute(
            text(
                "UPDATE changes SET before = :before, after = :after "
                "WHERE act_id = :act_id AND place = :place"
            ),
            {**row, "before": _without(table, row["before"]), "after": _without(table, row["after"])},
        )


def _without(table: str, written: str | None) -> str | None:
    if written is None:
        return None
    row = json.loads(written)
    if row.get("hemp_turns") is not None:
        row["remarks"] = _with_hemp(row)
    kept = {name: value for name, value in row.items() if name not in _GONE[table]}
    return json.dumps(kept, ensure_ascii=False, sort_keys=True, allow_nan=False)
