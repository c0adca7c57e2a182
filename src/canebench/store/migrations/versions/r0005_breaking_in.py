"""A band's own sessions and rests of breaking in, its own rule for a settled reed; and times without the bin.

A page far down a list reads the index alone up to there: no row that lies in the bin stands in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from canebench.store.database import Connection

#: Every table that tells when something was, at this revision.
_WITH_TIMES: Final = (
    "settings",
    "takes",
    "strengths",
    "eases",
    "plays",
    "mouth_tests",
    "pin_marks",
    "bands",
)


def upgrade(connection: Connection, dialect: str) -> None:
    """Columns more, empty until somebody says so; no index of times has what lies in the bin."""
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
    for table in _WITH_TIMES:
        connection.run(f"DROP INDEX {table}_by_at")
        connection.run(f"CREATE INDEX {table}_by_at ON {table} (at) WHERE removed_at IS NULL")
