"""What a plan may use: how far the seat can travel, how much tape, how many pinches; where a reed can sit.

Guarded by `tests/doors/test_plan_command.py`, `tests/doors/test_after_act.py`,
`tests/practice/test_rule_bounds.py` and `tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.sizes import said

#: Of a reed's whole life; more ruins it (common practice, no source).
MOST_PINCHES: Final = 3
#: The top of a seat, mm above a firm hand seat: by then half of a usual band of hemp (8 mm) stands out of the
#: seat, and what is left holds neither firm nor airtight. An estimate of ours.
HIGHEST_MM: Final = 4.0
#: Told in whole steps, a seat may pass its bottom by what such sums round to, mm.
_ROUNDED_MM: Final = 1e-6
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


def check_seat(seat_mm: float, *, deepest_mm: float, field: str = "seat") -> None:
    """An error where no reed can sit: below the bottom of its seat, or so high that it leaks.

    Parameters
    ----------
    seat_mm : number
        How deep the reed is said to sit, mm deeper than a firm hand seat.
    deepest_mm : number >= 0
        Where this chanter's seat has its bottom, on the same scale.
    field : str
        What the error names.

    Raises
    ------
    InputError
        It is out of these bounds; the nearer one is told.
    """
    if not -HIGHEST_MM - _ROUNDED_MM <= seat_mm <= deepest_mm + _ROUNDED_MM:
        deep = seat_mm > deepest_mm
        raise InputError(
            field=field,
            given=f"{abs(seat_mm):g} mm {'deeper' if deep else 'higher'} than a firm hand seat",
            allowed=(
                f"from {-HIGHEST_MM:g} to {deepest_mm:g} mm is possible: at {deepest_mm:g} this chanter's "
                f"seat has its bottom, and a reed {HIGHEST_MM:g} mm above the hand seat leaks"
            ),
            nearest=f"{deepest_mm if deep else -HIGHEST_MM:g} mm",
        )
