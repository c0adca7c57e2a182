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
from canebench.reeds.forecasts.learning.groups import Groups, Message, Register
from canebench.reeds.forecasts.learning.honesty import FACTORS, cut_short, factors, lessons
from canebench.reeds.forecasts.nodes import LEARN_AT, learning_nodes, nodes_about, scale_evidence, scales_of
from canebench.reeds.forecasts.posterior import Coefficients, coefficients, normalised, posterior
from canebench.reeds.forecasts.priors import PRIORS, SHARES, TAU_MIN, first_chances

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.learning.groups import Members
    from canebench.reeds.forecasts.nodes import Nodes
    from canebench.reeds.forecasts.posterior import Mixture, NodePosterior

#: Of expectation propagation while learning.
_FEW_SWEEPS: Final = 4
#: The priors count for so many reeds in what is learnt of spreads and of chances.
_WORTH_REEDS: Final = 2.0
_STEPS: Final = 12
_CHANCE_STEPS: Final = 60
_OWN: Final = SHARES.index("reed")


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
        messages=_messages(wide),
        scales=scale_evidence(wide.log_evidence),
        tau_shares=np.zeros((len(histories), len(TAU_MIN))),
        lessons=np.zeros((len(histories), len(FACTORS))),
    )
    before = beforehand(taught, histories, quantity)
    after = posterior(seen, quantity, before.coefficients, before.nodes, sweeps=_FEW_SWEEPS)
    taught = replace(taught, messages=_messages(after), tau_shares=_tau_shares(after))
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


def _messages(after: NodePosterior) -> tuple[Message, ...]:
    weights = weights_of(after)
    found: Mixture = coefficients(after)
    means = np.einsum("rg,rgp->rp", weights, found.mean)
    off = found.mean - means[:, None]
    spread = np.einsum("rg,rgpq->rpq", weights, found.covariance + off[..., :, None] * off[..., None, :])
    return _over(means, spread, after.before)


def _over(mean: FloatArray, covariance: FloatArray, before: Coefficients) -> tuple[Message, ...]:
    """Each posterior over its prior; no direction is known worse after the readings than before."""
    unit = np.sqrt(np.einsum("rii->ri", before.covariance))
    units = unit[:, :, None] * unit[:, None, :]
    prior = np.linalg.inv(before.covariance / units)
    gained = np.linalg.inv(covariance / units) - prior
    values, vectors = np.linalg.eigh(0.5 * (gained + np.swapaxes(gained, 1, 2)))
    gained = (vectors * np.maximum(values, 0.0)[:, None, :]) @ np.swapaxes(vectors, 1, 2)
    weighted = np.einsum("rij,rj->ri", prior + gained, mean / unit)
    weighted = weighted - np.einsum("rij,rj->ri", prior, before.mean / unit)
    return tuple(
        Message(precision=precision, weighted=pulled)
        for precision, pulled in zip(gained / units, weighted / unit, strict=True)
    )


def beforehand(taught: Taught, histories: Sequence[ReedHistory], quantity: Quantity) -> Beforehand:
    """What is believed of reeds from the others alone."""
    register = Register.of((*taught.histories, *histories))
    groups = _groups(taught, register, register.members(taught.histories), quantity)
    numbers = {one.number: place for place, one in enumerate(taught.histories)}
    places = [numbers.get(one.number) for one in histories]
    mean, spread = groups.without(register.members(histories), places)
    scales, taus, fared = (
        _of_others(each, places) for each in (taught.scales, taught.tau_shares, taught.lessons)
    )
    return Beforehand(
        coefficients=Coefficients(mean=mean, covariance=spread),
        nodes=nodes_about(scales_of(scales), _shared(taus)),
        factors=factors(fared),
    )


def _groups(taught: Taught, register: Register, members: Members, quantity: Quantity) -> Groups:
    return Groups.of(register, members, taught.messages, PRIORS[quantity], taught.reed_sd)


def _of_others(each: FloatArray, places: Sequence[int | None]) -> FloatArray:
    """What all reeds tell together (reeds, ...), for each of these without its own."""
    own = np.array([np.zeros(each.shape[1:]) if place is None else each[place] for place in places])
    return np.asarray(each.sum(axis=0) - own)


def _reeds_apart(taught: Taught, quantity: Quantity) -> FloatArray:
    """How far reeds lie apart, by expectation maximisation from the prior's spread on."""
    prior = PRIORS[quantity]
    first, count = prior.sd[_OWN], len(taught.histories)
    precision = np.array([one.precision for one in taught.messages])
    weighted = np.array([one.weighted for one in taught.messages]) - precision @ prior.mean
    register = Register.of(taught.histories)
    members = register.members(taught.histories)
    for _ in range(_STEPS):
        means, spreads = _groups(taught, register, members, quantity).part(members)
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
    """Chances of time constants (..., taus) from how many reeds fell to each, beside the prior's."""
    worth = _WORTH_REEDS + counts.sum(axis=-1, keepdims=True)
    return np.asarray((_WORTH_REEDS * first_chances() + counts) / worth)
