"""The product changed at one place at a time, and whether a test notices."""
