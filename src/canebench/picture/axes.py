"""Where things stand in a picture: of a beam, pitch along and deviation up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

_STEPS: Final = (5, 10, 20, 50, 100, 200, 500, 1000, 2000)
_MOST_STEPS: Final = 6
#: The picture never zooms in further than this, so that a small fault looks small.
_LEAST_CENTS: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """A rectangle of the picture and the two scales on it."""

    left: float
    right: float
    top: float
    bottom: float
    along_from: float
    along_to: float
    up_from: float
    up_to: float
    step: int

    def x(self, along: float) -> float:
        """Place along: of a beam, of a pitch so many cents above low A."""
        share = (along - self.along_from) / (self.along_to - self.along_from)
        return self.left + share * (self.right - self.left)

    def y(self, up: float) -> float:
        """Place up: of a beam, of a deviation in cents."""
        share = (up - self.up_from) / (self.up_to - self.up_from)
        return self.bottom - share * (self.bottom - self.top)

    def ticks(self) -> list[int]:
        """Heights that get a line: multiples of the step, zero always among those of a beam."""
        first, last = math.ceil(self.up_from / self.step), math.floor(self.up_to / self.step)
        return [self.step * i for i in range(first, last + 1)]


def axes_for(
    intervals: Iterable[float],
    values: Iterable[float],
    *,
    left: float,
    right: float,
    top: float,
    height: float,
    side: float,
) -> Axes:
    """Axes that hold every value; `side` is kept free at both ends for the outermost labels."""
    along = list(intervals)
    shown = [value for value in values if math.isfinite(value)]
    low, high = min([-_LEAST_CENTS, *shown]), max([_LEAST_CENTS, *shown])
    step = next((s for s in _STEPS if high - low <= s * _MOST_STEPS), _STEPS[-1])
    # Marks are some 8 units high: a tenth of the range above and below keeps them inside.
    margin = 0.08 * (high - low)
    unit = (max(along) - min(along)) / (right - left - 2 * side)
    return Axes(
        left=left,
        right=right,
        top=top,
        bottom=top + height,
        along_from=min(along) - side * unit,
        along_to=max(along) + side * unit,
        up_from=low - margin,
        up_to=high + margin,
        step=step,
    )
