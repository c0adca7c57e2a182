"""Whether a ledger's rows are as they were written."""
