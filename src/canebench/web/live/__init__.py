"""Streams of sound, their workers and recordings."""
