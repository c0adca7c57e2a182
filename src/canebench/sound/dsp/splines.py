"""Smooth courses in time: a cubic B-spline basis, and least squares on it with a stiffness."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray


@lru_cache(maxsize=16)
def spline_basis(count: int, hop_s: float, knot_s: float) -> FloatArray:
    """Uniform cubic B-splines, knots at most `knot_s` apart [shape=(count, splines)]; read-only.

    B(x) = 2/3 - x^2 + |x|^3/2 for |x| < 1, (2 - |x|)^3 / 6 for 1 <= |x| < 2 (de Boor 1978).
    """
    length = max(count - 1, 1) * hop_s
    spans = max(1, int(np.ceil(length / knot_s)))
    position = np.arange(count) * hop_s / (length / spans)
    x = np.abs(position[:, None] - np.arange(-1, spans + 2))
    inner = 2 / 3 - x**2 + x**3 / 2
    outer = np.clip(2 - x, 0, None) ** 3 / 6
    basis = np.where(x < 1, inner, outer)
    basis.flags.writeable = False
    return np.asarray(basis)


@lru_cache(maxsize=16)
def spline_slope(count: int, hop_s: float, knot_s: float) -> FloatArray:
    """Slope of each spline of `spline_basis` per second, by central differences; read-only like it."""
    basis = spline_basis(count, hop_s, knot_s)
    slope = np.gradient(basis, hop_s, axis=0) if count > 1 else np.zeros_like(basis)
    slope.flags.writeable = False
    return np.asarray(slope)
