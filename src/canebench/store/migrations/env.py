"""How Alembic runs here: on the connection that `store.migrate` hands it, in the transaction opened there."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
