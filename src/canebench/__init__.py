"""Canebench: from a box of new cane reeds to nine notes in tune with the drones."""

from __future__ import annotations

__version__ = "0.3.0"
