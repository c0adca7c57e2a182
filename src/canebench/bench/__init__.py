"""Floor 3: one function for each act that a person performs. Both doors call only these."""

from __future__ import annotations
