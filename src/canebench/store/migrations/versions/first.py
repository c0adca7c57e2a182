"""The first ledger."""

from __future__ import annotations

from alembic import op

from canebench.store.schema import statements

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table."""
    for statement in statements(op.get_bind().dialect.name):
        op.execute(statement)
