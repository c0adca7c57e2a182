"""Commands that keep the ledger, and the page."""
