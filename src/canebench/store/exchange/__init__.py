"""The ledger's tables out to files and in from them: CSV, JSON, Parquet and XLSX."""
