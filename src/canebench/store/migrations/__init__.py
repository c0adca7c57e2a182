"""The ledger's schema through time: one Alembic revision for each change, never altered once released."""
