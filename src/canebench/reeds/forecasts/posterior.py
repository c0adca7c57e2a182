"""What readings leave likely of reeds: a Gaussian at each node of time constant, stray and breath.

Given a node, coefficients and stray are jointly normal, so a reed is a Gaussian process with explicit basis
functions (Rasmussen & Williams 2006, section 2.7); readings that may slip and judgements by mouth enter by
parallel expectation propagation (section 3.6), whose evidence (eq. 3.65) weighs the nodes. All reeds of a lot
are one calculation. Guarded by `tests/analytic/test_forecasts.py` and
`tests/cross_method/test_forecast_sampling.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.design import handling_covariance, stray_covariance
from canebench.reeds.forecasts.priors import PRIORS
from canebench.reeds.forecasts.sites import by_gauge, felt

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray, IntArray
    from canebench.reeds.forecasts.design import Observed, Points
    from canebench.reeds.forecasts.history import Quantity
    from canebench.reeds.forecasts.nodes import Nodes

_SWEEPS: Final = 7
_DAMPING: Final = 0.8
#: Sites have settled once none moves by more than this share of its precision.
_SETTLED: Final = 5e-3
#: A site's precision is at least this share of what a gauge gives: where a reading looks like a slip, the
#: exact site would be negative and could make the whole indefinite.
_LEAST_SHARE: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficients:
    """What is believed of reeds before they are read: means (reeds, 7) and covariances (reeds, 7, 7)."""

    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class NodePosterior:
    """Of each reed at each node: (reeds, nodes) in front of every array.

    Attributes
    ----------
    log_evidence : array
        Of its readings.
    pull : array (..., readings)
        What the readings pull at: a mean anywhere is the prior's plus its covariance with them times this.
    grip : array (..., readings, readings)
        By how much they narrow: covariance with them, times this, times covariance with them.
    before : Coefficients
        The prior.
    observed : Observed
        The readings.
    quantity : str
        Of what.
    nodes : Nodes
        At which.
    """

    log_evidence: FloatArray
    pull: FloatArray
    grip: FloatArray
    before: Coefficients
    observed: Observed
    quantity: Quantity
    nodes: Nodes


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """Normals by node: means (reeds, nodes, k), covariances (reeds, nodes, k, k)."""

    mean: FloatArray
    covariance: FloatArray


def _by_node(per_tau: FloatArray, nodes: Nodes) -> FloatArray:
    """(reeds, taus, ...) repeated for each stray and breath (reeds, nodes, ...)."""
    return np.repeat(per_tau, nodes.each_tau, axis=1)


def _sized(per_reed: FloatArray, nodes: Nodes) -> FloatArray:
    """Stray of the usual size (reeds, ...) at every node's (reeds, nodes, ...)."""
    squares = nodes.strays**2
    return np.asarray(per_reed[:, None] * squares.reshape(*squares.shape, *([1] * (per_reed.ndim - 1))))


def _lines(points: Points, before: Coefficients, nodes: Nodes) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of points by node: what each coefficient counts, the prior's mean, and coefficients' covariance."""
    lines = points.lines(nodes.tau_min)
    mean = np.einsum("rtnp,rp->rtn", lines, before.mean)
    loaded = lines @ before.covariance[:, None]
    return _by_node(lines, nodes), _by_node(mean, nodes), _by_node(loaded, nodes)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stray:
    """Of which quantity, at which nodes, and whether only what lasts."""

    quantity: Quantity
    nodes: Nodes
    lasting: bool = False


def _between(one: Points, other: Points, loaded: FloatArray, lines: FloatArray, stray: _Stray) -> FloatArray:
    """Covariance between points (reeds, nodes, n, m)."""
    found = loaded @ np.swapaxes(lines, -1, -2)
    found = found + _sized(stray_covariance(one, other, stray.quantity, lasting=stray.lasting), stray.nodes)
    return np.asarray(found + handling_covariance(one, other, stray.quantity)[:, None])


def posterior(
    observed: Observed, quantity: Quantity, before: Coefficients, nodes: Nodes, *, sweeps: int = _SWEEPS
) -> NodePosterior:
    """What is believed after the readings.

    Parameters
    ----------
    observed : Observed
        Of as many reeds as `before` has.
    quantity : str
        Of what: its breath, stray and handling count.
    before : Coefficients
        What was believed of each reed.
    nodes : Nodes
        At which it is worked out.
    sweeps : int
        Of expectation propagation, at most.

    Returns
    -------
    NodePosterior
        At each node.
    """
    lines, mean, loaded = _lines(observed.at, before, nodes)
    prior = _between(observed.at, observed.at, loaded, lines, _Stray(quantity=quantity, nodes=nodes))
    scatter = PRIORS[quantity].breath_sd ** 2 + observed.blur[:, None, :] ** 2
    sd = np.sqrt(observed.read_sd[:, None, :] ** 2 + nodes.breaths[:, :, None] ** 2 * scatter)
    bands = _bands(observed, prior)
    sites = _propagated(observed, mean, bands, sd, sweeps)
    evidence, pull, grip = _finished(observed, mean, bands, sd, sites)
    return NodePosterior(
        log_evidence=evidence,
        pull=pull,
        grip=grip,
        before=before,
        observed=observed,
        quantity=quantity,
        nodes=nodes,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Band:
    """Reeds that were read as often, without what pads their rows to the longest.

    That stands after all that was told and has no part in what it tells, but would make the matrices of most
    reeds several times as dear.

    Attributes
    ----------
    reeds : array (count,)
        Which.
    prior : array (count, nodes, readings, readings)
        Covariance of what they read.
    """

    reeds: IntArray
    prior: FloatArray

    @property
    def at(self) -> tuple[IntArray, slice, slice]:
        """Their part of an array (reeds, nodes, readings)."""
        return self.reeds, slice(None), slice(self.prior.shape[-1])


def _bands(observed: Observed, prior: FloatArray) -> list[_Band]:
    widths = np.maximum(observed.told.sum(axis=1), 1)
    found = []
    for width in np.unique(widths):
        reeds = np.flatnonzero(widths == width)
        found.append(_Band(reeds=reeds, prior=prior[reeds, :, :width, :width]))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sites:
    """A Gaussian in each reading's place: precision, and that times its mean."""

    precision: FloatArray
    weighted: FloatArray


def _propagated(
    observed: Observed, mean: FloatArray, bands: Sequence[_Band], sd: FloatArray, sweeps: int
) -> _Sites:
    """Sites by parallel expectation propagation, damped."""
    told, mouth = observed.told[:, None, :], observed.by_mouth[:, None, :]
    least = _LEAST_SHARE / sd**2
    precision = np.where(told & ~mouth, 1.0 / sd**2, np.where(told, least, 0.0))
    values = np.where(mouth | ~told, mean, observed.low[:, None, :])
    weighted = precision * values
    for _ in range(sweeps):
        marginal_mean, variance = mean.copy(), np.ones(mean.shape)
        for band in bands:
            at = band.at
            marginal_mean[at], variance[at] = _marginals(mean[at], band.prior, precision[at], weighted[at])
        left = 1.0 / np.maximum(1.0 / variance - precision, 1e-12)
        cavity = left * (marginal_mean / variance - weighted)
        _, slope, bend = _tilted(observed, sd, cavity, left)
        fresh = np.maximum(bend / np.maximum(1.0 - left * bend, 1e-9), least)
        fresh_weighted = fresh * cavity + slope * (1.0 + fresh * left)
        moved = np.where(told, np.abs(fresh - precision) / (fresh + 1.0 / sd**2), 0.0).max()
        precision = np.where(told, precision + _DAMPING * (fresh - precision), 0.0)
        weighted = np.where(told, weighted + _DAMPING * (fresh_weighted - weighted), 0.0)
        if moved < _SETTLED:
            break
    return _Sites(precision=precision, weighted=weighted)


def _finished(
    observed: Observed, mean: FloatArray, bands: Sequence[_Band], sd: FloatArray, sites: _Sites
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Evidence, pull and grip; each site's part in the evidence is written so that no precision divides."""
    precision, weighted = sites.precision, sites.weighted
    push = weighted - precision * mean
    marginal_mean, variance, pull = mean.copy(), np.ones(mean.shape), np.zeros(mean.shape)
    grip, joint = np.zeros((*mean.shape, mean.shape[-1])), np.zeros(mean.shape[:2])
    for band in bands:
        at, size = band.at, band.prior.shape[-1]
        pushed, narrow = push[at], precision[at]
        marginal_mean[at], covariance = _joined(mean[at], band.prior, narrow, weighted[at])
        variance[at] = np.einsum("...ii->...i", covariance)
        root = np.sqrt(narrow)
        inner = root[..., :, None] * band.prior * root[..., None, :] + np.eye(size)
        moved = np.einsum("...ij,...j->...i", covariance, pushed)
        joint[band.reeds] = 0.5 * (pushed * moved).sum(axis=-1) - 0.5 * np.linalg.slogdet(inner)[1]
        pull[at] = pushed - narrow * moved
        alone = narrow[..., None] * np.eye(size)
        grip[band.reeds, :, :size, :size] = alone - narrow[..., :, None] * covariance * narrow[..., None, :]
    left = 1.0 / np.maximum(1.0 / variance - precision, 1e-12)
    cavity = left * (marginal_mean / variance - weighted)
    log_chance, _, _ = _tilted(observed, sd, cavity, left)
    shift, spread = cavity - mean, 1.0 + left * precision
    own = log_chance + 0.5 * np.log(spread)
    own = own + 0.5 * (-2.0 * push * shift + precision * shift**2 - push**2 * left) / spread
    return np.where(observed.told[:, None, :], own, 0.0).sum(axis=-1) + joint, pull, grip


def _tilted(
    observed: Observed, sd: FloatArray, cavity: FloatArray, left: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    # Of judgements anything finite, which nobody looks at.
    values = np.where(observed.by_mouth, 0.0, observed.low)[:, None, :]
    gauge = by_gauge(values, sd, cavity, left)
    if not observed.by_mouth.any():
        return gauge.log_chance, gauge.slope, gauge.bend
    mouth = felt(observed.low[:, None, :], observed.high[:, None, :], sd, cavity, left)
    which = observed.by_mouth[:, None, :]
    return (
        np.where(which, mouth.log_chance, gauge.log_chance),
        np.where(which, mouth.slope, gauge.slope),
        np.where(which, mouth.bend, gauge.bend),
    )


def _marginals(
    mean: FloatArray, prior: FloatArray, precision: FloatArray, weighted: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Prior times sites: means and variances of each alone, as `_joined` has them."""
    root = np.sqrt(precision)
    loaded = root[..., :, None] * prior
    solved = np.linalg.solve(loaded * root[..., None, :] + np.eye(precision.shape[-1]), loaded)
    variance = np.einsum("...ii->...i", prior) - np.einsum("...ki,...ki->...i", loaded, solved)
    push = (weighted - precision * mean)[..., None]
    moved = prior @ push - np.swapaxes(loaded, -1, -2) @ (solved @ push)
    return mean + moved[..., 0], variance


def _joined(
    mean: FloatArray, prior: FloatArray, precision: FloatArray, weighted: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Prior times sites: mean and covariance (eq. 3.67)."""
    root = np.sqrt(precision)
    inner = root[..., :, None] * prior * root[..., None, :] + np.eye(precision.shape[-1])
    solved = np.linalg.solve(inner, root[..., :, None] * prior)
    covariance = prior - (prior * root[..., None, :]) @ solved
    found = mean + np.einsum("...ij,...j->...i", covariance, weighted - precision * mean)
    return found, covariance


def at_points(after: NodePosterior, points: Points, *, lasting: bool = False) -> Mixture:
    """What is believed at moments of the same reeds, under standard conditions.

    Parameters
    ----------
    after : NodePosterior
        What is believed.
    points : Points
        Where, as many of each reed.
    lasting : bool
        Leaves out weather, which comes and goes.

    Returns
    -------
    Mixture
        By node.
    """
    stray = _Stray(quantity=after.quantity, nodes=after.nodes, lasting=lasting)
    lines, mean, loaded = _lines(points, after.before, after.nodes)
    there = _between(points, points, loaded, lines, stray)
    across = _between(points, after.observed.at, loaded, _theirs(after), stray)
    return Mixture(
        mean=mean + np.einsum("...ij,...j->...i", across, after.pull),
        covariance=there - across @ after.grip @ np.swapaxes(across, -1, -2),
    )


def coefficients(after: NodePosterior) -> Mixture:
    """What is believed of the seven coefficients."""
    across = after.before.covariance[:, None] @ np.swapaxes(_theirs(after), -1, -2)
    return Mixture(
        mean=after.before.mean[:, None] + np.einsum("...ij,...j->...i", across, after.pull),
        covariance=after.before.covariance[:, None] - across @ after.grip @ np.swapaxes(across, -1, -2),
    )


def _theirs(after: NodePosterior) -> FloatArray:
    """What each coefficient counts at the readings, by node."""
    return _by_node(after.observed.at.lines(after.nodes.tau_min), after.nodes)


def normalised(logs: FloatArray) -> FloatArray:
    """Weights that sum to 1 along the last axis, from their logarithms."""
    weights = np.exp(logs - logs.max(axis=-1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))
