"""The first ledger. Its statements lie beside it, as they were released."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from canebench.store.database import Connection


def upgrade(connection: Connection, dialect: str) -> None:
    """Make every table."""
    script = Path(__file__).with_name(f"r0001_{dialect}.sql")
    for statement in script.read_text(encoding="utf-8").split(";\n"):
        if statement.strip():
            connection.run(statement)
