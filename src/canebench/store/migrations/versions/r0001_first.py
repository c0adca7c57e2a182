"""The first ledger. Its statements lie beside it, as they were released."""

from __future__ import annotations

from pathlib import Path

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table."""
    script = Path(__file__).with_name(f"r0001_{op.get_bind().dialect.name}.sql")
    for statement in script.read_text(encoding="utf-8").split(";\n"):
        if statement.strip():
            op.execute(statement)
