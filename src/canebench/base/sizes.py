"""What a size may be, and which slip of the hand a value outside looks like.

Guarded by `tests/faults/test_bad_geometry.py` and `tests/invariants/test_base_edges.py`.
"""

from __future__ import annotations

import math
import reprlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError

if TYPE_CHECKING:
    from typing import TypeGuard

MINUS: Final = (-1.0, "without the minus sign")
POINT: Final = (0.1, "if the decimal point slipped")
#: Factors by which a length is wrong, and what one says of it.
LENGTH_SLIPS: Final = (
    MINUS,
    (25.4, "if that was inches"),
    (10.0, "if that was centimetres"),
    (1000.0, "if that was metres"),
    POINT,
)
PER_CENT: Final = (0.01, "if that was per cent")
_SPOKEN: Final = {"mm": " of millimetres", "mm³": " of cubic millimetres"}
#: Two explanations this close in plausibility (natural logarithm) are both told.
_AS_LIKELY: Final = 0.5
_ENDLESS: Final = 1e12
_SHORT: Final = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = _SHORT.maxlong = 60


def is_number(value: object) -> TypeGuard[float]:
    """Whether a value computes as a real number does.

    Not a truth value, and none of NumPy's short or unsigned numbers: they wrap round without a word.
    """
    if isinstance(value, np.generic):
        return value.dtype.kind in "fi" and value.dtype.itemsize >= 4
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def is_finite(value: object) -> TypeGuard[float]:
    """Whether it is a number and not NaN nor endless; whole numbers that no float can hold are finite."""
    return is_number(value) and -math.inf < value < math.inf


def said(value: object, unit: str = "") -> str:
    """A given thing in a few words, whatever it is and however large."""
    try:
        return f"{value:g} {unit}".rstrip() if is_number(value) else _SHORT.repr(value)
    except (ArithmeticError, ValueError, RecursionError):
        return "something too large to write out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """What a size may be, and so which slip a value outside it looks like.

    Attributes
    ----------
    low, high : number
        What is allowed, both included.
    usual : number
        A typical size: of several slips that would explain a value, the one that leads closest to it is told.
    unit : str
        Stands behind every number.
    slips : pairs of a factor and words
        What a wrong value may have to be multiplied by, and when.
    """

    low: float
    high: float
    usual: float
    unit: str = "mm"
    slips: tuple[tuple[float, str], ...] = LENGTH_SLIPS

    def check(self, name: str, value: float) -> None:
        """An error that names the field, the range and the likely slip where `value` is outside."""
        if not is_finite(value):
            needed = f"a number{_SPOKEN.get(self.unit, '')} is needed"
            raise InputError(field=name, given=said(value), allowed=f"{needed}, {self._allowed()}")
        if not self.low <= value <= self.high:
            raise InputError(
                field=name,
                given=said(value, self.unit),
                allowed=f"{self._allowed()} is allowed",
                nearest=self.slip(value),
            )

    def slip(self, value: float) -> str:
        """The likely slips behind a value outside, best first; the nearer bound where there is none."""
        if abs(value) < _ENDLESS:
            found = [(value * factor, why) for factor, why in self.slips]
            likely = sorted((self._oddity(size), size, why) for size, why in found if self._holds(size))
            told = [pair for pair in likely[:2] if pair[0] <= likely[0][0] + _AS_LIKELY]
            if told:
                return ", or ".join(f"{size:.4g} {self.unit}".rstrip() + f", {why}" for _, size, why in told)
        return self._written(self.low if value < self.low else self.high)

    def _holds(self, size: float) -> bool:
        return size != 0 and self.low <= size <= self.high

    def _oddity(self, size: float) -> float:
        return abs(math.log(abs(size) / self.usual))

    def _written(self, size: float) -> str:
        return f"{size:g} {self.unit}".rstrip()

    def _allowed(self) -> str:
        return f"from {self.low:g} to {self._written(self.high)}"


def check_count(field: str, value: int, low: int, high: int) -> None:
    """An error where `value` is no whole number from `low` to `high`."""
    if not is_finite(value) or value % 1 or not low <= value <= high:
        near = min(max(int(value), low), high) if is_finite(value) else low
        raise InputError(
            field=field, given=said(value), allowed=f"a whole number, {low} to {high}", nearest=str(near)
        )
