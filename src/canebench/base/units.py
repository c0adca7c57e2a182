"""Conversions between frequency ratios, hertz and cents.

A cent is 1/1200 of an octave (Ellis 1885): cents = 1200 log2(f/f_ref). Guarded by
`tests/published/test_ellis.py` and `tests/invariants/test_units.py`.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from canebench.base.arrays import FloatArray

Pitch = TypeVar("Pitch", float, FloatArray)

CENTS_PER_OCTAVE = 1200.0
#: One cent as a natural logarithm of the frequency ratio: d(cents) = CENTS_PER_NEPER * d(f)/f.
CENTS_PER_NEPER = CENTS_PER_OCTAVE / float(np.log(2.0))


def hz_to_cents(freq_hz: Pitch, reference_hz: Pitch | float) -> Pitch:
    """Interval from `reference_hz` up to `freq_hz` in cents; both > 0 Hz.

    An array of pitches may have one reference, or one for each.
    """
    cents = CENTS_PER_OCTAVE * np.log2(np.asarray(freq_hz) / reference_hz)
    return np.asarray(cents) if isinstance(freq_hz, np.ndarray) else float(cents)


def cents_to_hz(interval_cents: Pitch, reference_hz: float) -> Pitch:
    """Frequency in Hz that lies `interval_cents` above `reference_hz`."""
    freq_hz = reference_hz * np.exp2(np.asarray(interval_cents) / CENTS_PER_OCTAVE)
    return np.asarray(freq_hz) if isinstance(interval_cents, np.ndarray) else float(freq_hz)


def hz_step_to_cents(step_hz: float, freq_hz: float) -> float:
    """A small difference (an uncertainty) in Hz at `freq_hz` as cents, to first order."""
    return CENTS_PER_NEPER * step_hz / freq_hz
