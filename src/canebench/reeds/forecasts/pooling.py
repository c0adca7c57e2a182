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
from canebench.reeds.forecasts.honesty import FACTORS, cut_short, factor, lessons
from canebench.reeds.forecasts.nodes import LEARN_AT, learning_nodes, nodes_about, scale_evidence, scales_of
from canebench.reeds.forecasts.posterior import Coefficients, coefficients, normalised, posterior
from canebench.reeds.forecasts.priors import COEFFICIENTS, PRIORS, SHARES, TAU_MIN, first_chances

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from canebench.base.arrays import FloatArray, IntArray
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.nodes import Nodes
    from canebench.reeds.forecasts.posterior import Mixture, NodePosterior
    from canebench.reeds.forecasts.priors import QuantityPrior

_SIZE: Final = len(COEFFICIENTS)
#: Of expectation propagation while learning.
_FEW_SWEEPS: Final = 4
#: The priors count for so many reeds in what is learnt of spreads and of chances.
_WORTH_REEDS: Final = 2.0
_STEPS: Final = 12
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
    scales : array (reeds, 4, 4)
        How well each stray and breath of a bench explains each reed, logarithms: `scale_evidence`.
    tau_shares : array (reeds, taus)
        How likely each time constant is for each reed.
    lessons : array (reeds, factors)
        How its newest reading fared with spreads multiplied, logarithms: `honesty`.
    reed_sd : array (7,)
        How far reeds of one lot lie apart.
    """

    histories: tuple[ReedHistory, ...]
    messages: tuple[Message, ...]
    scales: FloatArray
    tau_shares: FloatArray
    lessons: FloatArray
    reed_sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Population:
    """What all reeds of a bench teach, by quantity: `learnt_from` makes it."""

    taught: Mapping[Quantity, Taught]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beforehand:
    """What is believed of reeds before they are read: coefficients, nodes, what multiplies spreads."""

    coefficients: Coefficients
    nodes: Nodes
    factors: FloatArray


def nobody() -> Population:
    """What is taught where no other reed is known."""
    return Population(
        taught={
            name: Taught(
                histories=(),
                messages=(),
                scales=np.zeros((0, len(LEARN_AT), len(LEARN_AT))),
                tau_shares=np.zeros((0, len(TAU_MIN))),
                lessons=np.zeros((0, len(FACTORS))),
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
        lessons=np.zeros((len(histories), len(FACTORS))),
    )
    before = beforehand(taught, histories, quantity)
    after = posterior(seen, quantity, before.coefficients, before.nodes, sweeps=_FEW_SWEEPS)
    taught = replace(taught, messages=tuple(_messages(after)), tau_shares=_tau_shares(after))
    taught = replace(taught, reed_sd=_reeds_apart(taught, quantity))
    return replace(taught, lessons=_lessons(taught, quantity))


def _lessons(taught: Taught, quantity: Quantity) -> FloatArray:
    """How forecasts from the other reeds would have fared (reeds, factors); 0 where there is none to tell."""
    found = np.zeros((len(taught.histories), len(FACTORS)))
    cut = [cut_short(history, quantity) for history in taught.histories]
    told = [place for place, one in enumerate(cut) if one is not None]
    if told:
        before = beforehand(taught, [taught.histories[place] for place in told], quantity)
        halves = [one for one in cut if one is not None]
        found[told] = lessons(halves, quantity, before.coefficients, before.nodes)
    return found


def weights_of(after: NodePosterior) -> FloatArray:
    """How likely each node is after the readings (reeds, nodes)."""
    return normalised(after.log_evidence + after.nodes.log_chances)


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
    fared = taught.lessons.sum(axis=0)
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
        factors=np.array(
            [factor(fared if place is None else fared - taught.lessons[place]) for place in places]
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Groups:
    """The linear solution for the means of bench, lots, cuts and chanters, all in one vector.

    `tightness` and `pull` are what each reed's message says of its part in them.
    """

    prior: QuantityPrior
    reed_sd: FloatArray
    places: Mapping[tuple[str, str], int]
    mean: FloatArray
    covariance: FloatArray
    tightness: FloatArray
    pull: FloatArray

    @classmethod
    def of(cls, taught: Taught, histories: Sequence[ReedHistory], quantity: Quantity) -> _Groups:
        """From all messages."""
        prior = PRIORS[quantity]
        names = sorted({name for history in (*taught.histories, *histories) for name in _names(history)})
        places = {name: place for place, name in enumerate(names)}
        sds = np.concatenate([prior.sd[SHARES.index(share)] for share, _ in names])
        tightness, pull = _about_groups(taught, prior)
        precision, weighted = np.diag(sds**-2.0), np.zeros(len(sds))
        for history, tight, pulled in zip(taught.histories, tightness, pull, strict=True):
            where, count = _where(history, places), len(_names(history))
            precision[np.ix_(where, where)] += np.tile(tight, (count, count))
            weighted[where] += np.tile(pulled, count)
        covariance = np.linalg.inv(precision)
        return cls(
            prior=prior,
            reed_sd=taught.reed_sd,
            places=places,
            mean=covariance @ weighted,
            covariance=covariance,
            tightness=tightness,
            pull=pull,
        )

    def part(self, history: ReedHistory) -> tuple[FloatArray, FloatArray]:
        """A reed's part in the means (7,), and its covariance (7, 7), all messages included."""
        where, count = _where(history, self.places), len(_names(history))
        blocks = self.covariance[np.ix_(where, where)].reshape(count, _SIZE, count, _SIZE)
        return self.mean[where].reshape(count, _SIZE).sum(axis=0), blocks.sum(axis=(0, 2))

    def without(self, history: ReedHistory, place: int | None) -> tuple[FloatArray, FloatArray]:
        """A reed's mean and covariance beforehand, the message of the reed at `place` left out.

        (J − XᵀWX)⁻¹ seen through X is S (1 − WS)⁻¹, S = X J⁻¹ Xᵀ (Woodbury).
        """
        mean, spread = self.part(history)
        if place is not None:
            left = np.linalg.inv(np.eye(_SIZE) - spread @ self.tightness[place])
            mean, spread = left @ (mean - spread @ self.pull[place]), left @ spread
        own = np.diag(_own_squares(history, self.prior, self.reed_sd))
        return self.prior.mean + mean, 0.5 * (spread + spread.T) + own


def _where(history: ReedHistory, places: Mapping[tuple[str, str], int]) -> IntArray:
    """Which entries of the one vector a reed is of."""
    first = np.array([places[name] for name in _names(history)]) * _SIZE
    return np.asarray((first[:, None] + np.arange(_SIZE)).ravel())


def _own_squares(history: ReedHistory, prior: QuantityPrior, reed_sd: FloatArray) -> FloatArray:
    """Variances (7,) of what is a reed's own: its lot's too where that is not known."""
    squares = reed_sd**2
    for share in ("lot", "cut", "chanter"):
        if getattr(history, share) is None:
            squares = squares + prior.sd[SHARES.index(share)] ** 2
    return squares


def _about_groups(taught: Taught, prior: QuantityPrior) -> tuple[FloatArray, FloatArray]:
    """Messages about the groups, once each reed's own part is integrated out: (reeds, 7, 7), (reeds, 7)."""
    if not taught.histories:
        return np.zeros((0, _SIZE, _SIZE)), np.zeros((0, _SIZE))
    precision = np.array([one.precision for one in taught.messages])
    weighted = np.array([one.weighted for one in taught.messages]) - precision @ prior.mean
    own = np.array([_own_squares(one, prior, taught.reed_sd) for one in taught.histories])
    inner = np.linalg.inv(np.eye(_SIZE) + precision * own[:, None, :])
    tightness = inner @ precision
    return 0.5 * (tightness + np.swapaxes(tightness, 1, 2)), np.einsum("rij,rj->ri", inner, weighted)


def _names(history: ReedHistory) -> list[tuple[str, str]]:
    """The groups that a reed is of; what is not known it shares with none."""
    named = [(share, getattr(history, share)) for share in ("lot", "cut", "chanter")]
    return [("bench", "")] + [(share, name) for share, name in named if name is not None]


def _reeds_apart(taught: Taught, quantity: Quantity) -> FloatArray:
    """How far reeds lie apart, by expectation maximisation from the prior's spread on."""
    prior = PRIORS[quantity]
    first, count = prior.sd[_OWN], len(taught.histories)
    precision = np.array([one.precision for one in taught.messages])
    weighted = np.array([one.weighted for one in taught.messages]) - precision @ prior.mean
    for _ in range(_STEPS):
        groups = _Groups.of(taught, taught.histories, quantity)
        parts = [groups.part(history) for history in taught.histories]
        means, spreads = np.array([mean for mean, _ in parts]), np.array([spread for _, spread in parts])
        after = np.linalg.inv(precision + np.diag(taught.reed_sd**-2.0))
        moved = np.einsum("rij,rj->ri", after, weighted - np.einsum("rij,rj->ri", precision, means))
        loaded = after @ precision
        spread = after + loaded @ spreads @ np.swapaxes(loaded, 1, 2)
        squares = (moved**2 + np.einsum("rii->ri", spread)).sum(axis=0)
        taught = replace(
            taught, reed_sd=np.sqrt((_WORTH_REEDS * first**2 + squares) / (_WORTH_REEDS + count))
        )
    return taught.reed_sd


def _tau_shares(after: NodePosterior) -> FloatArray:
    """How likely each time constant is for each reed, with the chances that all teach (reeds, taus)."""
    joint = (after.log_evidence + after.nodes.log_chances).reshape(len(after.log_evidence), len(TAU_MIN), -1)
    logs = np.logaddexp.reduce(joint, axis=-1) - np.logaddexp.reduce(
        after.nodes.log_chances.reshape(joint.shape), axis=-1
    )
    chances = first_chances()
    shares = np.zeros(logs.shape)
    for _ in range(_CHANCE_STEPS):
        shares = normalised(logs + np.log(chances))
        chances = _shared(shares.sum(axis=0))
    return shares


def _shared(counts: FloatArray) -> FloatArray:
    """Chances of time constants from how many reeds fell to each, beside the prior's."""
    return np.asarray((_WORTH_REEDS * first_chances() + counts) / (_WORTH_REEDS + counts.sum()))
