"""Simulated chanters that are nearly in tune: drawn like the others, with a third of their spread."""

from __future__ import annotations

from functools import cache

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bore.instrument import pitches_hz
from support.true_chanters import UNKNOWNS, TrueChanter, other_losses

_SHARE = 0.3


@cache
def gentle_chanter(seed: int) -> TrueChanter:
    """One of them, still with other losses than the model's."""
    z = _SHARE * np.random.default_rng(seed).normal(size=len(UNKNOWNS.names))
    z[-len(NOTES) :] = 0.0
    instrument = UNKNOWNS.instrument(z)
    with other_losses():
        return TrueChanter(instrument=instrument, start_hz=pitches_hz(instrument, [Setting()])[0])
