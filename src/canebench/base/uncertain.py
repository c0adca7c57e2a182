"""A number with its standard uncertainty, and the one formatter for numbers that a person reads.

Guarded by `tests/invariants/test_uncertain.py` and `tests/invariants/test_base_edges.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MINUS = "−"
NOT_ESTIMATED = "not estimated"
#: Half-width of a 90 % interval in standard deviations (normal distribution).
SD_TO_90 = 1.6449
_MOST_DIGITS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertain:
    """A value and its standard deviation in the same unit; `sd` None when it could not be estimated."""

    value: float
    sd: float | None

    def text(self, unit: str, *, signed: bool = False) -> str:
        """Value ± sd and unit; the sd has two digits (one from 0.3 up) and sets the value's digits."""
        if not math.isfinite(self.value):
            return NOT_ESTIMATED
        if self.sd is None or not math.isfinite(self.sd):
            return f"{number(self.value, 1, signed=signed)} {unit} (± {NOT_ESTIMATED})"
        digits = digits_for(self.sd)
        # Never "± 0.000": what is known better than the digits shown is given as the last of them.
        sd = max(self.sd, 10.0**-digits)
        return f"{number(self.value, digits, signed=signed)} ± {number(sd, digits)} {unit}"


def digits_for(sd: float) -> int:
    """Decimals that an uncertainty of `sd` justifies, from 0 to 3."""
    if sd <= 0.0:
        return _MOST_DIGITS
    leading = math.floor(math.log10(sd))
    two_digits = sd < 3.0 * 10.0**leading
    return min(_MOST_DIGITS, max(0, -leading + two_digits))


def number(value: float, digits: int, *, signed: bool = False) -> str:
    """A number as read: true minus sign, no negative zero, `+` when `signed`."""
    rounded = round(value, digits)
    body = f"{abs(rounded):.{digits}f}"
    if rounded < 0:
        return MINUS + body
    return "+" + body if signed and rounded > 0 else body
