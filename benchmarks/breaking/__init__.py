"""The ledger broken on purpose, in every way there is a machine for."""
