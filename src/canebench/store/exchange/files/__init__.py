"""Formats of files that rows come and go by."""
