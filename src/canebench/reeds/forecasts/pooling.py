"""What a bench's reeds teach of each other: means by lot, cut and chanter, and how far reeds lie apart.

Each reed tells what its own readings say of its coefficients, as a Gaussian message (its posterior over its
prior; Minka 2001); means of the bench, of lots, cuts and chanters follow from all messages by one linear
solution. A reed's own prior leaves its own message out. How far the reeds of a lot lie apart, and how likely
each time constant, stray and breath is, are learnt by a few steps of expectation maximisation, from the
priors on. Guarded by `tests/analytic/test_forecast_pooling.py` and `benchmarks/breaking_in/run.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.design import observed
from canebench.reeds.forecasts.history import QUANTITIES
from canebench.reeds.forecasts.nodes import learning_nodes, nodes_about, scale_evidence, scales_of
from canebench.reeds.forecasts.posterior import Coefficients, coefficients, posterior
from canebench.reeds.forecasts.priors import COEFFICIENTS, PRIORS, SHARES, TAU_MIN, first_chances

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.nodes import Nodes
    from canebench.reeds.forecasts.posterior import Mixture, NodePosterior
    from canebench.reeds.forecasts.priors import QuantityPrior

_SIZE: Final = len(COEFFICIENTS)
#: Of expectation propagation while learning.
_FEW_SWEEPS: Final = 4
#: The priors count for so many reeds in what is learnt of spreads and of chances.
_WORTH_REEDS: Final = 4.0
_STEPS: Final = 6
_CHANCE_STEPS: Final = 60
_OWN: Final = SHARES.index("reed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What a reed's readings alone say of its coefficients: precision (7, 7) and that times the mean (7,)."""

    precision: FloatArray
    weighted: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Taught:
    """What reeds teach of one quantity.

    Attributes
    ----------
    histories : tuple of ReedHistory
        The reeds.
    messages : tuple of Message
        One each.
    scales : array (reeds, 5, 5)
        How well each stray and breath of a bench explains each reed, logarithms: `scale_evidence`.
    tau_shares : array (reeds, taus)
        How likely each time constant is for each reed.
    reed_sd : array (7,)
        How far reeds of one lot lie apart.
    """

    histories: tuple[ReedHistory, ...]
    messages: tuple[Message, ...]
    scales: FloatArray
    tau_shares: FloatArray
    reed_sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Population:
    """What all reeds of a bench teach, by quantity: `learnt_from` makes it."""

    taught: Mapping[Quantity, Taught]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beforehand:
    """What is believed of reeds before they are read themselves: coefficients, and nodes."""

    coefficients: Coefficients
    nodes: Nodes


def nobody() -> Population:
    """What is taught where no other reed is known."""
    return Population(
        taught={
            name: Taught(
                histories=(),
                messages=(),
                scales=np.zeros((0, 5, 5)),
                tau_shares=np.zeros((0, len(TAU_MIN))),
                reed_sd=PRIORS[name].sd[_OWN],
            )
            for name in QUANTITIES
        }
    )


def learnt_from(histories: Sequence[ReedHistory]) -> Population:
    """What these reeds teach; reeds without a reading teach nothing and may be among them.

    Parameters
    ----------
    histories : sequence of ReedHistory
        Reeds of one bench, at most some hundreds; `number` tells them apart.

    Returns
    -------
    Population
        For `forecast` and `forecasts`, which leave out what a reed would teach itself.
    """
    return Population(taught={name: _taught(tuple(histories), name) for name in QUANTITIES})


def _taught(histories: tuple[ReedHistory, ...], quantity: Quantity) -> Taught:
    taught = nobody().taught[quantity]
    if not histories:
        return taught
    seen = observed(histories, quantity)
    before = beforehand(taught, histories, quantity)
    wide = posterior(seen, quantity, before.coefficients, learning_nodes(len(histories)), sweeps=_FEW_SWEEPS)
    taught = replace(
        taught,
        histories=histories,
        messages=tuple(_messages(wide)),
        scales=scale_evidence(wide.log_evidence),
        tau_shares=np.zeros((len(histories), len(TAU_MIN))),
    )
    before = beforehand(taught, histories, quantity)
    after = posterior(seen, quantity, before.coefficients, before.nodes, sweeps=_FEW_SWEEPS)
    taught = replace(taught, messages=tuple(_messages(after)), tau_shares=_tau_shares(after))
    return replace(taught, reed_sd=_reeds_apart(taught, quantity))


def weights_of(after: NodePosterior) -> FloatArray:
    """How likely each node is after the readings (reeds, nodes)."""
    return _normalised(after.log_evidence + after.nodes.log_chances)


def _normalised(logs: FloatArray) -> FloatArray:
    weights = np.exp(logs - logs.max(axis=-1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))


def _messages(after: NodePosterior) -> Iterator[Message]:
    weights = weights_of(after)
    found: Mixture = coefficients(after)
    means = np.einsum("rg,rgp->rp", weights, found.mean)
    off = found.mean - means[:, None]
    spread = np.einsum("rg,rgpq->rpq", weights, found.covariance + off[..., :, None] * off[..., None, :])
    for mean, covariance, prior_mean, prior in zip(
        means, spread, after.before.mean, after.before.covariance, strict=True
    ):
        yield _message(mean, covariance, prior_mean, prior)


def _message(mean: FloatArray, covariance: FloatArray, prior_mean: FloatArray, prior: FloatArray) -> Message:
    """The posterior over the prior; no direction is known worse after the readings than before."""
    unit = np.sqrt(np.diag(prior))
    before = np.linalg.inv(prior / np.outer(unit, unit))
    gained = np.linalg.inv(covariance / np.outer(unit, unit)) - before
    values, vectors = np.linalg.eigh(0.5 * (gained + gained.T))
    gained = (vectors * np.maximum(values, 0.0)) @ vectors.T
    weighted = (before + gained) @ (mean / unit) - before @ (prior_mean / unit)
    return Message(precision=gained / np.outer(unit, unit), weighted=weighted / unit)


def beforehand(taught: Taught, histories: Sequence[ReedHistory], quantity: Quantity) -> Beforehand:
    """What is believed of reeds from the others alone."""
    groups = _Groups.of(taught, histories, quantity)
    numbers = [one.number for one in taught.histories]
    places = [numbers.index(one.number) if one.number in numbers else None for one in histories]
    rows = [groups.without(history, place) for history, place in zip(histories, places, strict=True)]
    scales, taus = taught.scales.sum(axis=0), taught.tau_shares.sum(axis=0)
    others = [
        (scales, taus) if place is None else (scales - taught.scales[place], taus - taught.tau_shares[place])
        for place in places
    ]
    return Beforehand(
        coefficients=Coefficients(
            mean=np.array([mean for mean, _ in rows]), covariance=np.array([spread for _, spread in rows])
        ),
        nodes=nodes_about(
            scales_of(np.array([scale for scale, _ in others])), np.array([_shared(tau) for _, tau in others])
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Groups:
    """The linear solution for the means of bench, lots, cuts and chanters."""

    prior: QuantityPrior
    reed_sd: FloatArray
    places: Mapping[tuple[str, str], int]
    precision: FloatArray
    weighted: FloatArray
    parts: tuple[tuple[FloatArray, FloatArray, FloatArray], ...]

    @classmethod
    def of(cls, taught: Taught, histories: Sequence[ReedHistory], quantity: Quantity) -> _Groups:
        """From all messages."""
        prior = PRIORS[quantity]
        names = sorted({name for history in (*taught.histories, *histories) for name in _names(history)})
        places = {name: place for place, name in enumerate(names)}
        sds = np.concatenate([prior.sd[SHARES.index(share)] for share, _ in names])
        groups = cls(
            prior=prior,
            reed_sd=taught.reed_sd,
            places=places,
            precision=np.diag(sds**-2.0),
            weighted=np.zeros(len(sds)),
            parts=(),
        )
        parts = tuple(groups._part(*pair) for pair in zip(taught.histories, taught.messages, strict=True))
        precision, weighted = groups.precision.copy(), groups.weighted.copy()
        for where, tightness, pull in parts:
            precision[np.ix_(where, where)] += tightness
            weighted[where] += pull
        return replace(groups, precision=precision, weighted=weighted, parts=parts)

    def own(self, history: ReedHistory) -> FloatArray:
        """Covariance of what is a reed's own: its lot's too where that is not known."""
        squares = self.reed_sd**2
        for share in ("lot", "cut", "chanter"):
            if getattr(history, share) is None:
                squares = squares + self.prior.sd[SHARES.index(share)] ** 2
        return np.diag(squares)

    def _where(self, history: ReedHistory) -> FloatArray:
        first = np.array([self.places[name] for name in _names(history)]) * _SIZE
        return np.asarray((first[:, None] + np.arange(_SIZE)).ravel())

    def _part(self, history: ReedHistory, message: Message) -> tuple[FloatArray, FloatArray, FloatArray]:
        """A message about its groups, once the reed's own part is integrated out."""
        inner = np.linalg.inv(np.eye(_SIZE) + message.precision @ self.own(history))
        tightness = inner @ message.precision
        pull = inner @ (message.weighted - message.precision @ self.prior.mean)
        count = len(_names(history))
        return (
            self._where(history),
            np.tile(0.5 * (tightness + tightness.T), (count, count)),
            np.tile(pull, count),
        )

    def without(self, history: ReedHistory, place: int | None) -> tuple[FloatArray, FloatArray]:
        """A reed's mean and covariance beforehand, the reed at `place` left out."""
        precision, weighted = self.precision, self.weighted
        if place is not None:
            where, tightness, pull = self.parts[place]
            precision, weighted = precision.copy(), weighted.copy()
            precision[np.ix_(where, where)] -= tightness
            weighted[where] -= pull
        mine = self._where(history)
        taken = np.zeros((len(weighted), _SIZE))
        taken[mine, np.tile(np.arange(_SIZE), len(mine) // _SIZE)] = 1.0
        solved = np.linalg.solve(precision, taken)
        spread = taken.T @ solved
        return self.prior.mean + solved.T @ weighted, 0.5 * (spread + spread.T) + self.own(history)


def _names(history: ReedHistory) -> list[tuple[str, str]]:
    """The groups that a reed is of; what is not known it shares with none."""
    named = [(share, getattr(history, share)) for share in ("lot", "cut", "chanter")]
    return [("bench", "")] + [(share, name) for share, name in named if name is not None]


def _reeds_apart(taught: Taught, quantity: Quantity) -> FloatArray:
    """How far reeds lie apart, by expectation maximisation from the prior's spread on."""
    first = PRIORS[quantity].sd[_OWN]
    for _ in range(_STEPS):
        groups = _Groups.of(taught, taught.histories, quantity)
        squares = np.zeros(_SIZE)
        for place, (history, message) in enumerate(zip(taught.histories, taught.messages, strict=True)):
            mean, before = groups.without(history, place)
            squares += _own_squares(mean, before, message, taught.reed_sd)
        count = len(taught.histories)
        taught = replace(
            taught, reed_sd=np.sqrt((_WORTH_REEDS * first**2 + squares) / (_WORTH_REEDS + count))
        )
    return taught.reed_sd


def _own_squares(mean: FloatArray, before: FloatArray, message: Message, reed_sd: FloatArray) -> FloatArray:
    """Mean squares (7,) of what is a reed's own, after all readings."""
    own = np.diag(reed_sd**2)
    inverse = np.linalg.inv(before)
    after = np.linalg.inv(inverse + message.precision)
    share = own @ inverse
    moved = share @ (after @ (inverse @ mean + message.weighted) - mean)
    return np.asarray(moved**2 + np.diag(own - share @ own + share @ after @ share.T))


def _tau_shares(after: NodePosterior) -> FloatArray:
    """How likely each time constant is for each reed, with the chances that all teach (reeds, taus)."""
    joint = (after.log_evidence + after.nodes.log_chances).reshape(len(after.log_evidence), len(TAU_MIN), -1)
    logs = np.logaddexp.reduce(joint, axis=-1) - np.logaddexp.reduce(
        after.nodes.log_chances.reshape(joint.shape), axis=-1
    )
    chances = first_chances()
    shares = np.zeros(logs.shape)
    for _ in range(_CHANCE_STEPS):
        shares = _normalised(logs + np.log(chances))
        chances = _shared(shares.sum(axis=0))
    return shares


def _shared(counts: FloatArray) -> FloatArray:
    """Chances of time constants from how many reeds fell to each, beside the prior's."""
    return np.asarray((_WORTH_REEDS * first_chances() + counts) / (_WORTH_REEDS + counts.sum()))
