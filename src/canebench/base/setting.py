"""A setting: how deep the reed sits and what tape covers, at one moment.

Guarded by `tests/faults/test_bad_geometry.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import HOLES
from canebench.base.sizes import MINUS, POINT, Range, is_finite, said

#: Too large is what a finer unit makes of them; centimetres and inches only make them small.
_SLIPS: Final = (
    MINUS,
    POINT,
    (0.0254, "if that was thousandths of an inch"),
)
_SEAT: Final = Range(low=-10.0, high=10.0, usual=1.0, slips=_SLIPS)
_TAPE: Final = Range(
    low=0.0, high=10.0, usual=1.5, slips=(*_SLIPS, (0.06, "if that was per cent of a hole 6 mm wide"))
)
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
        _SEAT.check("seat", self.seat_mm)
        if not is_finite(self.pinches) or self.pinches not in range(_MOST_PINCHES + 1):
            raise InputError(
                field="pinches",
                given=said(self.pinches),
                allowed=f"a whole number from 0 to {_MOST_PINCHES} is allowed",
            )
        if not isinstance(self.tape_mm, Mapping):
            raise InputError(
                field="tape",
                given=said(self.tape_mm),
                allowed="holes with millimetres are needed",
                nearest="{'E': 1.5}, and {} for no tape",
            )
        for hole, covered in self.tape_mm.items():
            if hole not in HOLES:
                raise UnknownNameError(field="taped hole", given=str(hole)[:60], known=HOLES)
            _TAPE.check(f"tape on the {hole} hole", covered)
        bare = {hole: float(self.tape_mm[hole]) for hole in HOLES if self.tape_mm.get(hole)}
        object.__setattr__(self, "tape_mm", MappingProxyType(bare))


def strip_said(covered_mm: float) -> str:
    """How far a strip covers its hole, in words, as it is planned, in quarters: "1.75 mm", "1.5 mm".

    Parameters
    ----------
    covered_mm : number >= 0
        From the upper edge, mm.

    Returns
    -------
    str
        With one decimal, or two where the second says something.

    Guarded by `tests/practice/test_plan_words.py`.
    """
    figure = f"{covered_mm:.2f}"
    return f"{figure.removesuffix('0')} mm"
