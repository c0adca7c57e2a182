"""Two reeds or two lots side by side."""
