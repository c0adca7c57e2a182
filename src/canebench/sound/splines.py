"""Smooth courses in time: a cubic B-spline basis, and least squares on it with a stiffness."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray


def spline_basis(count: int, hop_s: float, knot_s: float) -> FloatArray:
    """Uniform cubic B-splines over `count` samples, knots at most `knot_s` apart [shape=(count, splines)].

    B(x) = 2/3 - x^2 + |x|^3/2 for |x| < 1, (2 - |x|)^3 / 6 for 1 <= |x| < 2 (de Boor 1978).
    """
    length = max(count - 1, 1) * hop_s
    spans = max(1, int(np.ceil(length / knot_s)))
    position = np.arange(count) * hop_s / (length / spans)
    x = np.abs(position[:, None] - np.arange(-1, spans + 2))
    inner = 2 / 3 - x**2 + x**3 / 2
    outer = np.clip(2 - x, 0, None) ** 3 / 6
    return np.asarray(np.where(x < 1, inner, outer))


def slope_of(basis: FloatArray, hop_s: float) -> FloatArray:
    """Slope of each spline per second, by central differences [shape as `basis`]."""
    if len(basis) < 2:
        return np.zeros_like(basis)
    return np.asarray(np.gradient(basis, hop_s, axis=0))
