"""A strip of tape with a straight edge over a round hole, from its upper edge down.

Coverage is told in millimetres down from the hole's upper edge, or as the share of its area. Guarded by
`tests/analytic/test_tape.py` and `tests/practice/test_tape.py`.
"""

from __future__ import annotations

import math
from typing import Final

from canebench.base.errors import InputError
from canebench.base.sizes import MINUS, PER_CENT, POINT, Range, is_finite, said

#: 1 / Fok's function: the inner end correction of a round opening in a wall across a tube, over that of one
#: in an open wall, by the ratio of the radii (Fok 1941, C. R. Acad. Sci. USSR 31:875; coefficients from
#: memory, their sum at ratio 1 checked to vanish within 0.013).
FOK: Final = (1.0, -1.40925, 0.0, 0.33818, 0.0, 0.06793, -0.02287, 0.03015, -0.01641)

_DIAMETER: Final = Range(low=0.1, high=60.0, usual=6.0)
_SHARE: Final = Range(low=0.0, high=1.0, usual=0.3, unit="of the hole", slips=(MINUS, PER_CENT))


def covered_share(covered_mm: float, *, diameter_mm: float) -> float:
    """Share of a round hole's area under a straight strip that reaches `covered_mm` down its diameter.

    Circular segment: (acos(u) - u sqrt(1 - u^2)) / pi with u = 1 - 2 covered/diameter.
    """
    _check_reach(covered_mm, diameter_mm)
    u = 1 - 2 * covered_mm / diameter_mm
    return (math.acos(u) - u * math.sqrt(1 - u * u)) / math.pi


def share_per_mm(covered_mm: float, *, diameter_mm: float) -> float:
    """d(share)/d(covered), per mm: the width of the strip's edge in the hole over the hole's area."""
    _check_reach(covered_mm, diameter_mm)
    u = 1 - 2 * covered_mm / diameter_mm
    return 4 * math.sqrt(max(0.0, 1 - u * u)) / (math.pi * diameter_mm)


def covered_mm(share: float, *, diameter_mm: float) -> float:
    """The strip's reach in mm for a share of the area, by bisection of a rising function (60 halvings)."""
    _DIAMETER.check("diameter of a taped hole", diameter_mm)
    if not is_finite(share) or not 0 <= share <= 1:
        raise InputError(
            field="tape",
            given=said(share, "of the hole"),
            allowed="a share is from 0 to 1",
            nearest=_SHARE.slip(share) if is_finite(share) else None,
        )
    low, high = 0.0, diameter_mm
    for _ in range(60):
        middle = (low + high) / 2
        if covered_share(middle, diameter_mm=diameter_mm) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _check_reach(covered_mm: float, diameter_mm: float) -> None:
    """A strip's reach lies within the hole, and the hole is one."""
    _DIAMETER.check("diameter of a taped hole", diameter_mm)
    if is_finite(covered_mm) and 0 <= covered_mm <= diameter_mm:
        return
    slips = (
        MINUS,
        POINT,
        (diameter_mm / 100, "if that was per cent of the diameter"),
    )
    reach = Range(low=0.0, high=diameter_mm, usual=diameter_mm / 4, slips=slips)
    raise InputError(
        field="tape",
        given=said(covered_mm, "mm"),
        allowed=f"tape covers from 0 mm to the hole's diameter, {diameter_mm:g} mm",
        nearest=reach.slip(covered_mm) if is_finite(covered_mm) else None,
    )
