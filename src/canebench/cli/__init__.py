"""Floor 4, door: the command. It translates and never decides."""

from __future__ import annotations
