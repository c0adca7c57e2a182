"""A recording read at any places between its samples: a Kaiser-windowed sinc, to about 100 dB."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_HALF: Final = 32
_PHASES: Final = 512
_BETA: Final = 9.0
#: So many places at a time: what is worked on then stays in the processor's cache.
_BLOCK: Final = 1 << 10


def read_at(samples: FloatArray, places: FloatArray) -> FloatArray:
    """Values of `samples` at `places` (in samples, rising or falling); silence beyond the ends.

    Where the places are more than a sample apart, what would fold over is left out.
    """
    step = float(np.max(np.abs(np.diff(places)))) if len(places) > 1 else 1.0
    table = _table(round(min(1.0, 0.95 / step) if step > 1.0 else 1.0, 3))
    padded = np.pad(np.asarray(samples, dtype=float), _HALF)
    out = np.empty(len(places))
    reach = np.arange(2 * _HALF)
    for start in range(0, len(places), _BLOCK):
        part = np.clip(places[start : start + _BLOCK], -1.0, len(samples) + 0.0)
        whole = np.floor(part).astype(int)
        fine = (part - whole) * _PHASES
        row = fine.astype(int)
        between = (fine - row)[:, None]
        weight = table[row] * (1 - between) + table[row + 1] * between
        # padded[i + _HALF] is sample i; the taps are samples whole - _HALF + 1 ... whole + _HALF.
        index = np.clip(whole[:, None] + reach + 1, 0, len(padded) - 1)
        out[start : start + _BLOCK] = np.einsum("ij,ij->i", padded[index], weight)
    return out


@cache
def _table(cutoff: float) -> FloatArray:
    offset = np.arange(_PHASES + 1)[:, None] / _PHASES
    distance = offset + _HALF - 1 - np.arange(2 * _HALF)
    window = np.i0(_BETA * np.sqrt(np.clip(1 - (distance / _HALF) ** 2, 0, None))) / np.i0(_BETA)
    return np.asarray(cutoff * np.sinc(cutoff * distance) * window)
