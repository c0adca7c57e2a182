"""The nine notes of the chanter, in scale order."""

from __future__ import annotations

from typing import Final

LOW_G: Final = "low G"
LOW_A: Final = "low A"
B: Final = "B"
C: Final = "C"
D: Final = "D"
E: Final = "E"
F: Final = "F"
HIGH_G: Final = "high G"
HIGH_A: Final = "high A"

NOTES: Final[tuple[str, ...]] = (LOW_G, LOW_A, B, C, D, E, F, HIGH_G, HIGH_A)
