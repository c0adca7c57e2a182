"""How loud a stream is: level and peak of the newest sound, tops that are cut, and the quietest so far.

Guarded by `tests/analytic/test_loudness.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: A level is that of so much sound, s.
_SPAN_S: Final = 0.3
#: From this share of full scale on, three samples in a row are a top that was cut.
_FULL: Final = 0.998
_RUN: Final = 3
SILENT_DB: Final = -120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudness:
    """Levels in dB re full scale; `quietest_db` is None until there was a whole span."""

    level_db: float
    peak_db: float
    quietest_db: float | None
    clipped: int


class Meter:
    """Measures a stream as it comes; blocks of any length give the same at the same sample."""

    def __init__(self, rate_hz: float) -> None:
        self._span = round(_SPAN_S * rate_hz)
        self._square, self._peak, self._count = 0.0, 0.0, 0
        self._last: tuple[float, float] | None = None
        self._quietest: float | None = None
        self._run, self._clipped = 0, 0

    def add(self, samples: FloatArray) -> None:
        """The next samples."""
        self._count_tops(samples)
        start = 0
        while start < len(samples):
            part = samples[start : start + self._span - self._count]
            self._square += float(np.dot(part, part))
            self._peak = max(self._peak, float(np.max(np.abs(part))))
            self._count += len(part)
            start += len(part)
            if self._count == self._span:
                self._close()

    def _close(self) -> None:
        level = _db(math.sqrt(self._square / self._span))
        self._last = level, _db(self._peak)
        self._quietest = level if self._quietest is None else min(self._quietest, level)
        self._square, self._peak, self._count = 0.0, 0.0, 0

    def _count_tops(self, samples: FloatArray) -> None:
        full = np.abs(samples) >= _FULL
        if not full.any() and not self._run:
            return
        for at_top in full:
            self._run = self._run + 1 if at_top else 0
            self._clipped += self._run == _RUN

    def read(self) -> Loudness:
        """The newest whole span, or what there is of the first."""
        if self._last is None:
            level = _db(math.sqrt(self._square / self._count)) if self._count else SILENT_DB
            return Loudness(level_db=level, peak_db=_db(self._peak), quietest_db=None, clipped=self._clipped)
        return Loudness(
            level_db=self._last[0],
            peak_db=self._last[1],
            quietest_db=self._quietest,
            clipped=self._clipped,
        )


def _db(amplitude: float) -> float:
    # Rounded, so that sums in another order come to the same.
    return round(20 * math.log10(amplitude), 6) if amplitude > 1e-6 else SILENT_DB
