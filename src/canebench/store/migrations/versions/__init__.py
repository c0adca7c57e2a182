"""Alembic revisions, oldest first."""
