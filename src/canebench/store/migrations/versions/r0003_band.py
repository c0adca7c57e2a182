"""What a band or workshop has settled once: its name, pitch, scale, units, zone, usual chanter and player."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from canebench.store.database import Connection

#: Whole numbers, numbers, texts, and what ends a table, by database.
_WORDS: Final = {
    "sqlite": ("INTEGER", "REAL", "TEXT", " STRICT"),
    "postgresql": ("BIGINT", "DOUBLE PRECISION", 'TEXT COLLATE "C"', ""),
}


def upgrade(connection: Connection, dialect: str) -> None:
    """One table more, empty: nothing is settled until somebody says so."""
    whole, real, text, end = _WORDS[dialect]
    connection.run(
        f"CREATE TABLE bands (id {whole} PRIMARY KEY, version {whole} NOT NULL, removed_at {text}, "
        f"at {text} NOT NULL, name {text}, low_a_hz {real}, scale {text}, pressure_unit {text}, "
        f"time_zone {text}, chanter_id {whole} REFERENCES chanters (id), "
        f"player_id {whole} REFERENCES players (id), paper {text}){end}"
    )
    for column in ("at", "chanter_id", "player_id"):
        connection.run(f"CREATE INDEX bands_by_{column} ON bands ({column})")
