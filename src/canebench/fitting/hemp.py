"""Seat depth as hemp: how much thread raises the reed by a millimetre.

In a tapered seat a reed that is to sit higher by h needs to be thicker by taper * h. The thread that fills
that shell of the wrapped band, D wide across and w long, has the length

    length = packing * (pi D w * taper h / 2) / (pi thread^2 / 4),

`packing` being the share of space that round threads fill. Geometry only; every size is an estimate until one
has been measured, and what a given length did once is a better guide (`inches_per_mm`). Nobody winds a third
of a turn: an amount is told in whole and half turns, and its millimetres and inches are those of that many.
Guarded by `tests/practice/test_hemp.py` and `tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from canebench.base.errors import InputError

INCH_MM: Final = 25.4
#: The usual first try where a whole chanter is sharp, inches: common practice, no source.
FIRST_TRY_INCHES: Final = (3.0, 4.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hemp:
    """Thread and seat.

    Attributes
    ----------
    thread_mm : number
        Thickness of the thread as it lies.
    band_mm : number
        Length of the wrapped band along the staple.
    across_mm : number
        Diameter over the wrapping.
    taper : number
        Diameter that the seat gains per millimetre of depth.
    packing : number
        Share of the space that the thread fills.
    inches_per_mm : number or None
        What one millimetre took before, if known: it then replaces the geometry.
    """

    thread_mm: float = 0.25
    band_mm: float = 8.0
    across_mm: float = 7.5
    taper: float = 0.05
    packing: float = 0.8
    inches_per_mm: float | None = None

    def __post_init__(self) -> None:
        ranges = {
            "thread_mm": (0.05, 1.0),
            "band_mm": (2.0, 20.0),
            "across_mm": (4.0, 12.0),
            "taper": (0.01, 0.2),
            "packing": (0.4, 1.0),
        }
        for name, (low, high) in ranges.items():
            if not low <= getattr(self, name) <= high:
                raise InputError(
                    field=name,
                    given=f"{getattr(self, name):g}",
                    allowed=f"from {low:g} to {high:g} is allowed",
                )
        if self.inches_per_mm is not None and not 0.1 <= self.inches_per_mm <= 40:
            raise InputError(
                field="inches_per_mm", given=f"{self.inches_per_mm:g}", allowed="from 0.1 to 40 is allowed"
            )

    def length_mm(self, rise_mm: float) -> float:
        """Length of thread for a rise of so much, mm."""
        if self.inches_per_mm is not None:
            return self.inches_per_mm * INCH_MM * rise_mm
        shell_mm3 = math.pi * self.across_mm * self.band_mm * self.taper * rise_mm / 2
        return self.packing * shell_mm3 / (math.pi * self.thread_mm**2 / 4)

    @property
    def turn_mm(self) -> float:
        """Length of one turn round the staple, mm."""
        return math.pi * self.across_mm

    def turns(self, rise_mm: float) -> float:
        """Turns for a rise of so much, to the nearest half and half a turn at least."""
        return max(0.5, math.floor(2 * self.length_mm(rise_mm) / self.turn_mm + 0.5) / 2)

    def text(self, rise_mm: float) -> str:
        """As one would say it: "about 3 turns, which is 71 mm (2.8 inches) of thread".

        Millimetres are those of the turns told, and inches those of the millimetres told.
        """
        turns = self.turns(rise_mm)
        length_mm = round(turns * self.turn_mm)
        length = f"{length_mm} mm ({length_mm / INCH_MM:.1f} inches)"
        return f"about {_turns_said(turns)}, which is {length} of thread"


def _turns_said(turns: float) -> str:
    """Whole and half turns: "half a turn", "one turn", "1½ turns", "2 turns"."""
    if turns < 1.5:
        return "half a turn" if turns < 1 else "one turn"
    return f"{math.floor(turns)}{'½' if turns % 1 else ''} turns"
