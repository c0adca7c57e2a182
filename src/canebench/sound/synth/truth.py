"""What a rendered take contained: the only yardstick of tests. Guarded by `tests/analytic/test_synth.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A stretch in which the chanter holds one fingering: note (None in a pause), start and end in s."""

    note: str | None
    start_s: float
    end_s: float
    grace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What was rendered. Cycles are phases over 2 pi, one value a sample; the tests' only yardstick.

    Every partial k runs on k times these cycles. Where a behaviour lets partials creep, each (the first too)
    leaves them by its own slow course of mean 0 and the cycles are what all have in common; a held note of
    two seconds then has no pitch more exact than some hundredths of a cent, whichever partials are asked.
    """

    rate_hz: float
    events: tuple[Event, ...]
    chanter_cycles: FloatArray
    drone_cycles: dict[str, FloatArray]

    def chanter_hz(self, start_s: float, end_s: float) -> float:
        """Mean true frequency of the chanter over a span, Hz."""
        return _mean_hz(self.chanter_cycles, self.rate_hz, start_s, end_s)

    def drone_hz(self, drone: str, start_s: float, end_s: float) -> float:
        """Mean true frequency of `drone` ("bass", "tenor 1", "tenor 2") over a span, Hz."""
        return _mean_hz(self.drone_cycles[drone], self.rate_hz, start_s, end_s)


def _mean_hz(cycles: FloatArray, rate_hz: float, start_s: float, end_s: float) -> float:
    ends = np.interp(np.array([start_s, end_s]) * rate_hz, np.arange(len(cycles)), cycles)
    return float((ends[1] - ends[0]) / (end_s - start_s))
