"""Nodes of what is not linear: the time constant, how far reeds stray from their line, how breaths scatter.

Time constants stand on fixed nodes; the other two on nodes of Gauss and Hermite about what is believed of
them, so that a steady bench has close ones and a wild one wide ones. Guarded by
`tests/cross_method/test_forecast_sampling.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.priors import BREATH, STRAY, TAU_MIN, first_chances

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

#: Gauss and Hermite for a normal deviate: three nodes and two.
_THREE: Final = (np.array([-math.sqrt(3.0), 0.0, math.sqrt(3.0)]), np.array([1 / 6, 2 / 3, 1 / 6]))
_TWO: Final = (np.array([-1.0, 1.0]), np.array([0.5, 0.5]))
#: On which the spread of a bench is learnt: how far from the median, in spreads over benches.
LEARN_AT: Final = np.array([-1.8, -0.6, 0.6, 1.8])
_LEARN_CHANCES: Final = np.exp(-0.5 * LEARN_AT**2) / np.exp(-0.5 * LEARN_AT**2).sum()
#: What all reeds together say is smooth, so a cubic between the nodes tells it on fine ones (Lagrange).
_FINE: Final = np.linspace(-2.2, 2.2, 45)
_BETWEEN: Final = np.stack(
    [
        np.prod([(_FINE - other) / (at - other) for other in LEARN_AT if other != at], axis=0)
        for at in LEARN_AT
    ],
    axis=1,
)
#: In learning the bench's spread two time constants will do.
_LEARN_TAUS: Final = slice(1, None, 3)
#: A reed that is like no other teaches no more than this much of what it would (a share of its evidence).
_ODD: Final = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Nodes:
    """Every combination, time constants outermost.

    Attributes
    ----------
    tau_min : array (taus,)
        Time constants, min.
    strays : array (reeds, nodes)
        How many times what is usual a reed strays.
    breaths : array (reeds, nodes)
        How many times what is usual its readings scatter.
    log_chances : array (reeds, nodes)
        How likely each is beforehand.
    """

    tau_min: FloatArray
    strays: FloatArray
    breaths: FloatArray
    log_chances: FloatArray

    @property
    def each_tau(self) -> int:
        """Nodes of one time constant."""
        return int(self.strays.shape[1]) // len(self.tau_min)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """What is believed of stray and breath of each reed: mean and spread of their logarithms (reeds,)."""

    stray_log: FloatArray
    stray_log_sd: FloatArray
    breath_log: FloatArray
    breath_log_sd: FloatArray


def first_scales(reeds: int) -> Scales:
    """Where no other reed is known."""
    return Scales(
        stray_log=np.full(reeds, math.log(STRAY[0])),
        stray_log_sd=np.full(reeds, math.hypot(*STRAY[1:])),
        breath_log=np.full(reeds, math.log(BREATH[0])),
        breath_log_sd=np.full(reeds, math.hypot(*BREATH[1:])),
    )


def nodes_about(scales: Scales, tau_chances: FloatArray) -> Nodes:
    """Nodes for reeds with these beliefs; chances of time constants (reeds, taus)."""
    at, chances = _THREE
    strays = np.exp(scales.stray_log[:, None] + scales.stray_log_sd[:, None] * at)
    two, even = _TWO
    breaths = np.exp(scales.breath_log[:, None] + scales.breath_log_sd[:, None] * two)
    return _crossed(TAU_MIN, tau_chances, strays, chances, breaths, even)


def learning_nodes(reeds: int) -> Nodes:
    """Wide nodes, alike for every reed, on which the scales of a bench are learnt."""
    strays = np.tile(STRAY[0] * np.exp(STRAY[1] * LEARN_AT), (reeds, 1))
    breaths = np.tile(BREATH[0] * np.exp(BREATH[1] * LEARN_AT), (reeds, 1))
    taus = np.tile(first_chances()[_LEARN_TAUS] / first_chances()[_LEARN_TAUS].sum(), (reeds, 1))
    return _crossed(TAU_MIN[_LEARN_TAUS], taus, strays, _LEARN_CHANCES, breaths, _LEARN_CHANCES)


def _crossed(
    tau_min: FloatArray,
    tau_chances: FloatArray,
    strays: FloatArray,
    stray_chances: FloatArray,
    breaths: FloatArray,
    breath_chances: FloatArray,
) -> Nodes:
    reeds, shape = len(strays), (len(tau_min), strays.shape[1], breaths.shape[1])
    joint = tau_chances[:, :, None, None] * stray_chances[:, None] * breath_chances
    return Nodes(
        tau_min=tau_min,
        strays=np.broadcast_to(strays[:, None, :, None], (reeds, *shape)).reshape(reeds, -1),
        breaths=np.broadcast_to(breaths[:, None, None, :], (reeds, *shape)).reshape(reeds, -1),
        log_chances=np.log(joint).reshape(reeds, -1),
    )


def scale_evidence(log_evidence: FloatArray) -> FloatArray:
    """What each reed tells of the bench's stray and breath: (reeds, 4, 4) from its `learning_nodes`."""
    size = len(LEARN_AT)
    nodes = learning_nodes(len(log_evidence))
    joint = (log_evidence + nodes.log_chances).reshape(-1, len(nodes.tau_min), size, size)
    each = np.logaddexp.reduce(joint, axis=1) - np.log(np.outer(_LEARN_CHANCES, _LEARN_CHANCES))
    whole = np.logaddexp.reduce(
        (each + np.log(np.outer(_LEARN_CHANCES, _LEARN_CHANCES))).reshape(len(each), -1), axis=1
    )
    return np.asarray(np.logaddexp(each + math.log(1.0 - _ODD), whole[:, None, None] + math.log(_ODD)))


def scales_of(taught: FloatArray) -> Scales:
    """What is believed of the next reed of a bench, by how its reeds go with each scale (reeds, 4, 4)."""
    logs = _BETWEEN @ taught @ _BETWEEN.T - 0.5 * (_FINE[:, None] ** 2 + _FINE**2)
    joint = np.exp(logs - logs.max(axis=(1, 2), keepdims=True))
    joint /= joint.sum(axis=(1, 2), keepdims=True)
    stray, stray_sd = _moments(joint.sum(axis=2))
    breath, breath_sd = _moments(joint.sum(axis=1))
    return Scales(
        stray_log=math.log(STRAY[0]) + STRAY[1] * stray,
        stray_log_sd=np.hypot(STRAY[1] * stray_sd, STRAY[2]),
        breath_log=math.log(BREATH[0]) + BREATH[1] * breath,
        breath_log_sd=np.hypot(BREATH[1] * breath_sd, BREATH[2]),
    )


def _moments(chances: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and spread over the fine nodes, which have about unit spread before anything is learnt."""
    mean = chances @ _FINE
    return mean, np.sqrt(np.maximum(chances @ _FINE**2 - mean**2, 0.0))
