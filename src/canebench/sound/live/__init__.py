"""The same while the sound comes in."""
