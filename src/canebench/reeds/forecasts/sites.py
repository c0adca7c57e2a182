"""What one reading says of the true value: a gauge that may slip, or a mouth that tells an interval.

For a belief N(mean, variance) about the value each gives the logarithm of how likely the reading is, and the
first and the negative second derivative of that by the mean: all that expectation propagation asks (Minka
2001, UAI 17; Rasmussen & Williams 2006, sections 3.6 and 3.9). Guarded by
`tests/cross_method/test_forecast_sampling.py` and `tests/analytic/test_forecasts.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.priors import MOUTH_SLIP, SLIP_FACTOR, SLIP_SHARE

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_ROOT_2PI: Final = math.sqrt(2.0 * math.pi)
#: Abramowitz & Stegun 1964, 7.1.26: the error function to 1.5e-7, and no loop over the numbers.
_ERF_P: Final = 0.3275911
_ERF_A: Final = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)
#: Of a judgement that is simply wrong any of three is as likely.
_ANY_WORD: Final = 1.0 / 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilted:
    """Of each reading: how likely it is (logarithm), and how that bends with the mean of the belief."""

    log_chance: FloatArray
    slope: FloatArray
    bend: FloatArray


def normal_below(x: FloatArray) -> FloatArray:
    """The chance that a standard normal deviate is at most x, to 1e-7."""
    size = np.abs(np.asarray(x)) / math.sqrt(2.0)
    t = 1.0 / (1.0 + _ERF_P * size)
    series = np.zeros_like(t)
    for factor in reversed(_ERF_A):
        series = (series + factor) * t
    tail = 0.5 * series * np.exp(-(size**2))
    return np.where(np.asarray(x) > 0.0, 1.0 - tail, tail)


def by_gauge(value: FloatArray, sd: FloatArray, mean: FloatArray, variance: FloatArray) -> Tilted:
    """A reading that scatters by `sd`, and now and then by `SLIP_FACTOR` times as much."""
    spread = np.stack([variance + sd**2, variance + (SLIP_FACTOR * sd) ** 2])
    off = value - mean
    logs = -0.5 * off**2 / spread - 0.5 * np.log(2.0 * math.pi * spread)
    logs = logs + np.log(np.array([1.0 - SLIP_SHARE, SLIP_SHARE])).reshape(2, *([1] * off.ndim))
    most = logs.max(axis=0)
    parts = np.exp(logs - most)
    total = parts.sum(axis=0)
    shares = parts / total
    slope = (shares * off / spread).sum(axis=0)
    bend = (shares / spread).sum(axis=0) - (shares * (off / spread) ** 2).sum(axis=0) + slope**2
    return Tilted(log_chance=most + np.log(total), slope=slope, bend=bend)


def felt(low: FloatArray, high: FloatArray, sd: FloatArray, mean: FloatArray, variance: FloatArray) -> Tilted:
    """A judgement that the value plus scatter lies between `low` and `high`, and is now and then wrong."""
    width = np.sqrt(variance + sd**2)
    above, below = (low - mean) / width, (high - mean) / width
    inside = normal_below(below) - normal_below(above)
    density_a, density_b = _density(above), _density(below)
    chance = (1.0 - MOUTH_SLIP) * inside + MOUTH_SLIP * _ANY_WORD
    first = (1.0 - MOUTH_SLIP) * (density_a - density_b) / width
    # An endless end has no density, and endless times nothing is nothing.
    ends = _times(above, density_a) - _times(below, density_b)
    second = (1.0 - MOUTH_SLIP) * ends / width**2
    slope = first / chance
    return Tilted(log_chance=np.log(chance), slope=slope, bend=slope**2 - second / chance)


def _density(x: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * x**2) / _ROOT_2PI)


def _times(x: FloatArray, density: FloatArray) -> FloatArray:
    return np.where(np.isfinite(x), x, 0.0) * density
