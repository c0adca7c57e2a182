"""What a plan may use: how far the seat can travel, how much tape, how many pinches."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.sizes import said

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: Of a reed's whole life; more ruins it (common practice, no source).
MOST_PINCHES: Final = 3
_RANGES: Final = {
    "deeper_mm": (0.0, 6.0, "mm"),
    "higher_mm": (0.0, 6.0, "mm"),
    "step_mm": (0.05, 1.0, "mm"),
    "tape_share": (0.0, 0.5, "of a hole"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How far a plan may go.

    Attributes
    ----------
    deeper_mm, higher_mm : number, 0 to 6
        Travel of the seat from where it is now.
    step_mm : number, 0.05 to 1
        The smallest move of the seat worth making.
    tape_share : number, 0 to 0.5
        The most of a hole's diameter that tape may cover: more than half damps the note.
    most_strips : int, 0 to 8
        How many holes may bear tape.
    pinches_left : int, 0 to 3
        How often this reed may still be pinched.
    """

    deeper_mm: float = 2.0
    higher_mm: float = 2.0
    step_mm: float = 0.25
    tape_share: float = 0.5
    most_strips: int = len(HOLES)
    pinches_left: int = 0

    def __post_init__(self) -> None:
        for name, (low, high, unit) in _RANGES.items():
            value = getattr(self, name)
            if not math.isfinite(value) or not low <= value <= high:
                raise InputError(
                    field=name,
                    given=f"{value:g} {unit}",
                    allowed=f"from {low:g} to {high:g} {unit} is allowed",
                    nearest=f"{min(max(value, low), high) if math.isfinite(value) else low:g} {unit}",
                )
        for name, most in (("most_strips", len(HOLES)), ("pinches_left", MOST_PINCHES)):
            value = getattr(self, name)
            if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= most:
                allowed = f"a whole number from 0 to {most} is allowed"
                raise InputError(field=name, given=said(value), allowed=allowed)

    def seats_mm(self, present_mm: float, *, deepest_mm: float) -> FloatArray:
        """The depths to choose from: the present one and whole steps from it, none below the bottom."""
        down = math.floor(min(self.deeper_mm, max(0.0, deepest_mm - present_mm)) / self.step_mm + 1e-9)
        up = math.floor(self.higher_mm / self.step_mm + 1e-9)
        return present_mm + self.step_mm * np.arange(-up, down + 1)
