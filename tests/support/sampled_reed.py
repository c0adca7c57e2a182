"""A reed's posterior by sampling: Metropolis within Gibbs, which shares only the priors' numbers with ours.

Given slips and what a mouth felt, all is normal and integrated out; time constant, stray and breath are
continuous here, log-normal, where ours stand on nodes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.stats import norm

from canebench.reeds.forecasts import priors

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.design import Observed
    from canebench.reeds.forecasts.history import Quantity

_CHAINS: Final = 48
_SWEEPS, _BURN_IN = 400, 100
_STEP: Final = np.array([0.9, 0.7, 0.35])
_CENTRE: Final = np.log([80.0, priors.STRAY[0], priors.BREATH[0]])
_SPREAD: Final = np.array([0.8, math.hypot(*priors.STRAY[1:]), math.hypot(*priors.BREATH[1:])])
_ENDS_MIN: Final = (15.0 / math.sqrt(2.0), 480.0 * math.sqrt(2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledMoments:
    """Mean and standard deviation at the point asked for."""

    mean: float
    sd: float


@dataclass(slots=True, kw_only=True)
class _Reed:
    """Readings of one reed with the point asked for as the last row; chains in front of what is sampled."""

    quantity: Quantity
    rows: FloatArray
    low: FloatArray
    high: FloatArray
    read_sd: FloatArray
    blur: FloatArray
    mouth: FloatArray
    coefficient_mean: FloatArray
    coefficient_covariance: FloatArray

    def moments(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Prior mean (chains, n + 1) and covariance of the true values, the point asked for last."""
        prior = priors.PRIORS[self.quantity]
        minutes, days, pinches, settings = self.rows[:, :4].T
        lines = np.repeat(
            np.column_stack(
                [np.ones_like(minutes), minutes, np.log1p(minutes / 40.0), pinches, self.rows[:, 4:]]
            )[None],
            len(theta),
            axis=0,
        )
        lines[:, :, 1] = np.exp(-minutes / np.exp(theta[:, :1]))
        covariance = lines @ self.coefficient_covariance @ np.swapaxes(lines, 1, 2)
        log_minutes = np.log(1.0 + minutes / 40.0)
        stray = prior.stray_sd**2 * np.minimum.outer(log_minutes, log_minutes)
        stray = stray + prior.wear_sd**2 / 100.0 * np.minimum.outer(minutes, minutes)
        stray = stray + prior.weather_sd**2 * np.exp(-np.abs(np.subtract.outer(days, days)) / 10.0)
        covariance = covariance + np.exp(2.0 * theta[:, 1])[:, None, None] * stray
        covariance = covariance + prior.set_sd**2 * np.minimum.outer(settings, settings)
        covariance = covariance + prior.pinch_scatter_sd**2 * np.minimum.outer(pinches, pinches)
        return lines @ self.coefficient_mean, covariance

    def sd(self, theta: FloatArray) -> FloatArray:
        """Scatter of a reading that is no slip (chains, n)."""
        breath = priors.PRIORS[self.quantity].breath_sd
        return np.asarray(np.sqrt(self.read_sd**2 + np.exp(2.0 * theta[:, 2:]) * (breath**2 + self.blur**2)))


def sampled(
    seen: Observed,
    quantity: Quantity,
    mean: FloatArray,
    covariance: FloatArray,
    point: FloatArray,
    rng: np.random.Generator,
) -> SampledMoments:
    """Moments of the true value at `point` (minutes, day, pinches, settings), moist, 20 °C and 60 %.

    `seen` holds one reed without padding; mean (7,) and covariance (7, 7) are those of its coefficients.
    """
    at = seen.at
    rows = np.column_stack(
        [at.minutes[0], at.days[0], at.pinches[0], at.settings[0], at.covariates[0, :, priors.DRY :]]
    )
    reed = _Reed(
        quantity=quantity,
        rows=np.vstack([rows, [*point, 0.0, 0.0, 0.0]]),
        low=seen.low[0],
        high=seen.high[0],
        read_sd=seen.read_sd[0],
        blur=seen.blur[0],
        mouth=seen.by_mouth[0],
        coefficient_mean=mean,
        coefficient_covariance=covariance,
    )
    theta: FloatArray = _CENTRE + 0.3 * rng.standard_normal((_CHAINS, 3))
    slipped = np.zeros((_CHAINS, len(rows)), dtype=bool)
    value: FloatArray = np.where(reed.mouth, np.clip(mean[0], reed.low, reed.high), reed.low) * np.ones(
        (_CHAINS, 1)
    )
    means, variances = [], []
    for sweep in range(_SWEEPS):
        theta = _moved(reed, theta, slipped, value, rng)
        true, mean_there, variance_there = _drawn(reed, theta, slipped, value, rng)
        slipped, value = _blamed(reed, theta, true, value, rng)
        if sweep >= _BURN_IN:
            means.append(mean_there)
            variances.append(variance_there)
    told, spread = np.array(means), np.array(variances)
    return SampledMoments(mean=float(told.mean()), sd=float(np.sqrt(spread.mean() + told.var())))


def _noise(reed: _Reed, theta: FloatArray, slipped: FloatArray) -> FloatArray:
    """Variance of each reading: a slipped gauge scatters more, a slipped judgement says nothing."""
    sd = reed.sd(theta)
    wild = np.where(reed.mouth, 1e6, (priors.SLIP_FACTOR * sd) ** 2)
    return np.where(slipped, wild, sd**2)


def _log_density(reed: _Reed, theta: FloatArray, slipped: FloatArray, value: FloatArray) -> FloatArray:
    count = value.shape[1]
    mean, covariance = reed.moments(theta)
    whole = covariance[:, :count, :count] + _noise(reed, theta, slipped)[:, :, None] * np.eye(count)
    off = value - mean[:, :count]
    # A judgement that is simply wrong does not depend on theta, though its stand-in noise does not either.
    square = np.einsum("ci,ci->c", off, np.linalg.solve(whole, off[..., None])[..., 0])
    found = (
        -0.5 * square - 0.5 * np.linalg.slogdet(whole)[1] - 0.5 * (((theta - _CENTRE) / _SPREAD) ** 2).sum(1)
    )
    inside = (theta[:, 0] > math.log(_ENDS_MIN[0])) & (theta[:, 0] < math.log(_ENDS_MIN[1]))
    return np.where(inside, found, -np.inf)


def _moved(
    reed: _Reed, theta: FloatArray, slipped: FloatArray, value: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """A Metropolis step of time constant, stray and breath, the true values integrated out."""
    here = _log_density(reed, theta, slipped, value)
    for which in (np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 1.0])):
        tried = theta + which * _STEP * rng.standard_normal(theta.shape)
        there = _log_density(reed, tried, slipped, value)
        taken = np.log(rng.random(len(theta))) < there - here
        theta, here = np.where(taken[:, None], tried, theta), np.where(taken, there, here)
    return theta


def _drawn(
    reed: _Reed, theta: FloatArray, slipped: FloatArray, value: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """True values at the readings, and mean and variance at the point asked for."""
    count = value.shape[1]
    mean, covariance = reed.moments(theta)
    whole = covariance[:, :count, :count] + _noise(reed, theta, slipped)[:, :, None] * np.eye(count)
    gain = np.swapaxes(np.linalg.solve(whole, covariance[:, :count, :]), 1, 2)
    after = mean + np.einsum("cij,cj->ci", gain, value - mean[:, :count])
    spread = covariance - gain @ covariance[:, :count, :]
    root = np.linalg.cholesky(spread[:, :count, :count] + 1e-9 * np.eye(count))
    true = after[:, :count] + np.einsum("cij,cj->ci", root, rng.standard_normal(value.shape))
    return true, after[:, count], spread[:, count, count]


def _blamed(
    reed: _Reed, theta: FloatArray, true: FloatArray, value: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Which readings are slips, and what a mouth felt."""
    sd = reed.sd(theta)
    low, high = norm.cdf((reed.low - true) / sd), norm.cdf((reed.high - true) / sd)
    wide = priors.SLIP_FACTOR * sd
    good = np.where(
        reed.mouth,
        (1.0 - priors.MOUTH_SLIP) * (high - low),
        (1.0 - priors.SLIP_SHARE) * norm.pdf(np.where(reed.mouth, 0.0, reed.low), true, sd),
    )
    bad = np.where(
        reed.mouth,
        priors.MOUTH_SLIP / 3.0,
        priors.SLIP_SHARE * norm.pdf(np.where(reed.mouth, 0.0, reed.low), true, wide),
    )
    slipped = rng.random(true.shape) * (good + bad) < bad
    chance = np.clip(low + rng.random(true.shape) * (high - low), 1e-12, 1.0 - 1e-12)
    felt = np.where(slipped, true, true + sd * norm.ppf(chance))
    return slipped, np.where(reed.mouth, felt, value)
