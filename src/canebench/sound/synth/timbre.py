"""Spectra of pipes: partials in dB, drawn about what recordings of real ones show.

A chanter's fundamental lies 4 to 19 dB under its strongest partial, which is the third to fifth; a partial
may be missing but for a rest 30 dB down, and no note is like another. A tenor falls as measured, with the odd
partials of a cylindrical bore stronger, and holds little above 3 kHz. Guarded by
`tests/analytic/test_pipe_timbre.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: Partials 1 to 11 of a real tenor, dB.
TENOR_DB: Final = (-6.0, -14.0, -13.0, -17.0, -14.0, -26.0, -29.0, -39.0, -50.0, -54.0, -49.0)
#: Past the measured ones a tenor falls on, dB a partial.
_TENOR_FALL_DB: Final = 2.5
_ODD_DB: Final = 2.5
_SCATTER_DB: Final = 2.5
#: How much an own hole takes away, and how often a note has one.
_HOLE_DB: Final = (-33.0, -28.0)
_HOLE_OFTEN: Final = 0.7


def chanter_db(partials: int, rng: np.random.Generator) -> FloatArray:
    """One note's partials, dB under its strongest."""
    k = np.arange(1, max(partials, 9) + 1)
    strongest = int(rng.integers(3, 6))
    level = -rng.uniform(1.5, 14.0, k.size) - np.where(k > 5, 5.0 + 11.0 * np.log2(k / 5), 0.0)
    level[0] = -rng.uniform(4.0, 19.0)
    hole, often = int(rng.integers(2, 9)), rng.uniform()
    if often < _HOLE_OFTEN and hole != strongest:
        level[hole - 1] = min(level[hole - 1], rng.uniform(*_HOLE_DB))
    level[strongest - 1] = 0.0
    return level[:partials]


def tenor_db(partials: int, rng: np.random.Generator) -> FloatArray:
    """A tenor's partials: the measured ones, each a little off, as one reed differs from another."""
    k = np.arange(1, partials + 1)
    return _tenor_at(k.astype(float)) + rng.uniform(-_SCATTER_DB, _SCATTER_DB, k.size)


def bass_db(partials: int, rng: np.random.Generator) -> FloatArray:
    """A bass's partials: a tenor's envelope at the same hertz, odd partials stronger."""
    k = np.arange(1, partials + 1)
    odd = np.where(k % 2 == 1, _ODD_DB, -_ODD_DB)
    return _tenor_at(k / 2) + odd + rng.uniform(-_SCATTER_DB, _SCATTER_DB, k.size)


def amplitudes(level_db: FloatArray) -> FloatArray:
    """Amplitudes of partials whose sum has an RMS of 1."""
    gain = 10 ** (level_db / 20)
    return np.asarray(gain / np.sqrt(np.sum(gain**2) / 2))


def _tenor_at(k: FloatArray) -> FloatArray:
    measured = np.interp(k, np.arange(1, len(TENOR_DB) + 1), TENOR_DB)
    return np.asarray(measured - _TENOR_FALL_DB * np.maximum(0.0, k - len(TENOR_DB)))
