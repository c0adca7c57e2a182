"""From a take's two parts to the recording that is measured, through whatever lies between pipes and file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.files.recording import Recording
from real_takes.voices import RATE_HZ

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from real_takes.conditions import Condition
    from real_takes.takes import RealTake

_PEAK: Final = 0.5


def recorded(take: RealTake, condition: Condition, seed: int) -> Recording:
    """The take as `condition` records it."""
    if condition.spoilt_by is not None:
        raise NotImplementedError(seed)
    return recording_of(mixed_down(take, condition), RATE_HZ)


def mixed_down(take: RealTake, condition: Condition) -> FloatArray:
    """Chanter and drones together at the condition's level."""
    if condition.drones_db is None:
        return take.chanter
    return np.asarray(take.chanter + 10 ** (condition.drones_db / 20) * take.drones)


def recording_of(samples: FloatArray, rate_hz: float) -> Recording:
    """The samples at half of full scale."""
    peak = float(np.max(np.abs(samples)))
    return Recording(
        samples=(samples * (_PEAK / peak)).astype(np.float32), rate_hz=rate_hz, origin="take.wav"
    )
