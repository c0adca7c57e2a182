"""A setting: how deep the reed sits and what tape covers, at one moment."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import HOLES

if TYPE_CHECKING:
    from collections.abc import Mapping

_MOST_SEAT_MM: Final = 10.0
_MOST_TAPE_MM: Final = 10.0
_MOST_PINCHES: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One moment's setting.

    Attributes
    ----------
    seat_mm : number
        Depth of the reed against the zero point, a firm hand seat; deeper is positive.
    tape_mm : mapping of hole to number
        How far down from its upper edge each taped hole is covered; holes not named are bare.
    pinches : int
        How often this reed has been pinched since the first measurement of it.
    """

    seat_mm: float = 0.0
    tape_mm: Mapping[str, float] = field(default_factory=dict)
    pinches: int = 0

    def __post_init__(self) -> None:
        _within("seat", self.seat_mm, -_MOST_SEAT_MM, _MOST_SEAT_MM, "mm")
        _within("pinches", self.pinches, 0, _MOST_PINCHES, "")
        for hole, covered in self.tape_mm.items():
            if hole not in HOLES:
                raise UnknownNameError(field="taped hole", given=hole, known=HOLES)
            _within(f"tape on the {hole} hole", covered, 0.0, _MOST_TAPE_MM, "mm")
        bare = {hole: float(self.tape_mm[hole]) for hole in HOLES if self.tape_mm.get(hole, 0.0) > 0}
        object.__setattr__(self, "tape_mm", MappingProxyType(bare))


def _within(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not math.isfinite(value) or not low <= value <= high:
        raise InputError(
            field=name,
            given=f"{value:g} {unit}".rstrip(),
            allowed=f"from {low:g} to {high:g} {unit} is allowed".replace("  ", " "),
        )
