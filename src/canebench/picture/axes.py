"""Where things stand in the picture: pitch along, deviation up."""

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
    interval_from: float
    interval_to: float
    cents_from: float
    cents_to: float
    step: int

    def x(self, interval_cents: float) -> float:
        """Place along, of a pitch `interval_cents` above low A."""
        share = (interval_cents - self.interval_from) / (self.interval_to - self.interval_from)
        return self.left + share * (self.right - self.left)

    def y(self, cents: float) -> float:
        """Place up, of a deviation."""
        share = (cents - self.cents_from) / (self.cents_to - self.cents_from)
        return self.bottom - share * (self.bottom - self.top)

    def ticks(self) -> list[int]:
        """Deviations that get a line: multiples of the step, zero always among them."""
        first, last = math.ceil(self.cents_from / self.step), math.floor(self.cents_to / self.step)
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
        interval_from=min(along) - side * unit,
        interval_to=max(along) + side * unit,
        cents_from=low - margin,
        cents_to=high + margin,
        step=step,
    )
