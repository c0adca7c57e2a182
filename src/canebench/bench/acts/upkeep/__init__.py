"""Keeping the ledger: backup, exchange, undo, check-up, the demo."""
