"""The ledger's schema through time: a module for each revision, never altered once released."""
