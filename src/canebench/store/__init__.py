"""Floor: the ledger, on SQLite or on PostgreSQL."""
