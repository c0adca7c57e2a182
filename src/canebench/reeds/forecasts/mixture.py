"""A mixture of normals, as nodes leave one: its mean and spread, chances, and the ends of its intervals.

Guarded by `tests/analytic/test_forecasts.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.sites import normal_below

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray

#: Of ten spreads and more: a hundred thousandth of a spread.
_HALVINGS: Final = 20
_ENDS: Final = np.array([0.025, 0.1, 0.5, 0.9, 0.975])
_ROOT_2PI: Final = math.sqrt(2.0 * math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """A value that is foretold, in its quantity's unit, and the ends of its 80 % and 95 % intervals.

    `sd` is the standard deviation of all that is believed, `median` has as much above as below.
    """

    mean: float
    sd: float
    median: float
    low_80: float
    high_80: float
    low_95: float
    high_95: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighted:
    """Normals (nodes,) with weights that sum to 1."""

    weights: FloatArray
    means: FloatArray
    sds: FloatArray

    @property
    def mean(self) -> float:
        """Of the whole."""
        return float(self.weights @ self.means)

    @property
    def sd(self) -> float:
        """Of the whole."""
        return math.sqrt(float(self.weights @ (self.sds**2 + (self.means - self.mean) ** 2)))

    def widened(self, factor: float) -> Weighted:
        """The same about the same mean, its spread multiplied."""
        means = self.mean + factor * (self.means - self.mean)
        return Weighted(weights=self.weights, means=means, sds=factor * self.sds)

    def and_then(self, mean: float, sd: float) -> Weighted:
        """The same with an independent normal added."""
        return Weighted(weights=self.weights, means=self.means + mean, sds=np.hypot(self.sds, sd))

    def below(self, value: float) -> float:
        """The chance to lie at or below a value."""
        return float(self.weights @ normal_below((value - self.means) / self.sds))

    def between(self, low: float, high: float) -> float:
        """The chance to lie between two values, either of which may be endless."""
        return max(0.0, self.below(high) - self.below(low))

    def foretold(self) -> Foretold:
        """With its intervals."""
        return foretold([self])[0]

    def crps(self, truth: float) -> float:
        """The continuous ranked probability score of a truth: less is better (Grimit et al. 2006, eq. 5)."""
        near = self.weights @ _mean_size(truth - self.means, self.sds)
        apart = _mean_size(self.means[:, None] - self.means, np.hypot(self.sds[:, None], self.sds))
        return float(near - 0.5 * self.weights @ apart @ self.weights)


def foretold(told: Sequence[Weighted]) -> list[Foretold]:
    """Each with its intervals.

    Parameters
    ----------
    told : sequence of Weighted
        All of as many nodes; none is no error.

    Returns
    -------
    list of Foretold
        One for each.
    """
    if not told:
        return []
    weights, means, sds = (
        np.array([getattr(one, name) for one in told]) for name in ("weights", "means", "sds")
    )
    shape = (len(told), len(_ENDS))
    low = np.broadcast_to((means - 5.0 * sds).min(axis=1, keepdims=True), shape)
    high = np.broadcast_to((means + 5.0 * sds).max(axis=1, keepdims=True), shape)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        below = normal_below((middle[:, :, None] - means[:, None]) / sds[:, None])
        short = np.einsum("ken,kn->ke", below, weights) < _ENDS
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return [
        Foretold(
            mean=one.mean,
            sd=one.sd,
            low_95=ends[0],
            low_80=ends[1],
            median=ends[2],
            high_80=ends[3],
            high_95=ends[4],
        )
        for one, ends in zip(told, (0.5 * (low + high)).tolist(), strict=True)
    ]


def _mean_size(mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Of the size of a normal deviate."""
    scaled = mean / sd
    density = np.exp(-0.5 * scaled**2) / _ROOT_2PI
    return np.asarray(mean * (2.0 * normal_below(scaled) - 1.0) + 2.0 * sd * density)
