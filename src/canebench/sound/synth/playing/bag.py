"""The bag: one pressure for every pipe, and its emptying.

Guarded by `tests/analytic/test_pipe_behaviour.py` and `tests/analytic/test_pipe_attacks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.synth.playing.courses import range_in_ten_seconds, waver
from canebench.sound.synth.playing.score import CUT_OFF_S

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.synth.behaviour import PipeBehaviour

_SAG_CENTS: Final = (40.0, 150.0)
_FADE_DB: Final = 50.0
#: How much of a pipe's swings of level is the bag's.
_SHARE: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Bag:
    """A take's bag: its pressure (RMS 1, on the grid of courses) and when and how far it empties."""

    duration_s: float
    pressure: FloatArray
    sag_cents: float | None

    def sag_cents_at(self, time_s: FloatArray) -> FloatArray:
        """Cents by which all pitches have sunk."""
        return -(self.sag_cents or 0.0) * self._emptied(time_s) ** 2

    def fade_db(self, time_s: FloatArray) -> FloatArray:
        """Change of level as the bag empties, dB."""
        return -_FADE_DB * self._emptied(time_s) ** 3

    def level(self, rng: np.random.Generator) -> FloatArray:
        """A pipe's swing of level, in part the bag's and in part its own; its range in ten seconds is 1."""
        own = waver(self.duration_s, rng)[0]
        course = _SHARE * self.pressure + np.sqrt(1.0 - _SHARE**2) * own
        return np.asarray(course / range_in_ten_seconds(course))

    def _emptied(self, time_s: FloatArray) -> FloatArray:
        if self.sag_cents is None:
            return np.zeros_like(time_s)
        emptied = (time_s - (self.duration_s - CUT_OFF_S)) / CUT_OFF_S
        return np.asarray(np.clip(emptied, 0.0, 1.0))


def bag_of(behaviour: PipeBehaviour, duration_s: float, rng: np.random.Generator) -> Bag:
    """The bag of one take."""
    sag = float(rng.uniform(*_SAG_CENTS))
    return Bag(
        duration_s=duration_s,
        pressure=waver(duration_s, rng)[0],
        sag_cents=sag if behaviour.cuts_off else None,
    )
