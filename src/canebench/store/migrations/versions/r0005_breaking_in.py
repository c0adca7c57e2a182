"""A band's own sessions and rests of breaking in, and its own rule for a settled reed."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from canebench.store.database import Connection


def upgrade(connection: Connection, dialect: str) -> None:
    """Columns more, empty: all is as usual until somebody says so."""
    whole, real, text = (
        ("INTEGER", "REAL", "TEXT")
        if dialect == "sqlite"
        else ("BIGINT", "DOUBLE PRECISION", 'TEXT COLLATE "C"')
    )
    for column, kind in (
        ("session_minutes", text),
        ("rest_h", real),
        ("settled_onset_kpa", real),
        ("settled_low_a_cents", real),
        ("settled_sessions", whole),
    ):
        connection.run(f"ALTER TABLE bands ADD COLUMN {column} {kind}")
