"""Room: from a recording to nine notes and the drones."""

from __future__ import annotations
