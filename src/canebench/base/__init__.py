"""Floor 0: errors, units, uncertain values, note names and scales. It imports nothing of ours."""

from __future__ import annotations
