"""Backups, snapshots, and the way back."""
