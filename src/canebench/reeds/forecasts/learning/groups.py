"""Means of a bench, its lots, cuts and chanters from what reeds tell, by one linear solution.

Guarded by `tests/analytic/test_forecast_pooling.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.priors import COEFFICIENTS, SHARES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.arrays import FloatArray, IntArray
    from canebench.reeds.forecasts.history import ReedHistory
    from canebench.reeds.forecasts.priors import QuantityPrior

_SIZE: Final = len(COEFFICIENTS)
#: What a reed shares with others of the same name.
_NAMED: Final = ("lot", "cut", "chanter")


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What a reed's readings alone say of its coefficients: precision (7, 7) and that times the mean (7,)."""

    precision: FloatArray
    weighted: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Members:
    """Of which groups reeds are.

    Attributes
    ----------
    groups : array (reeds, groups)
        1 for the bench, a reed's lot and its cut.
    chanter : array (reeds,)
        The place of its chanter; that of none is the last.
    unknown : array (reeds, 3)
        1 where lot, cut or chanter is not known, which a reed then shares with none.
    """

    groups: FloatArray
    chanter: IntArray
    unknown: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """All groups by name: those that a reed may share with any, and chanters, of which it has one."""

    groups: Mapping[tuple[str, str], int]
    chanters: Mapping[str | None, int]

    @classmethod
    def of(cls, histories: Sequence[ReedHistory]) -> Register:
        """Of these reeds."""
        names = sorted({name for history in histories for name in _names(history)})
        chanters = sorted({one.chanter for one in histories if one.chanter is not None})
        return cls(
            groups={name: place for place, name in enumerate(names)},
            chanters={name: place for place, name in enumerate((*chanters, None))},
        )

    def members(self, histories: Sequence[ReedHistory]) -> Members:
        """Of which of them each reed is."""
        groups = np.zeros((len(histories), len(self.groups)))
        for reed, history in enumerate(histories):
            groups[reed, [self.groups[name] for name in _names(history)]] = 1.0
        return Members(
            groups=groups,
            chanter=np.array([self.chanters[one.chanter] for one in histories], dtype=int),
            unknown=np.array(
                [[getattr(one, share) is None for share in _NAMED] for one in histories], dtype=float
            ).reshape(-1, len(_NAMED)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """The linear solution for the means of bench, lots, cuts and chanters.

    A reed has one chanter, so that given the other groups each chanter stands alone: chanters are taken out
    first, a block each.

    Attributes
    ----------
    prior, reed_sd : QuantityPrior and array (7,)
        How far groups lie apart, and reeds of one lot.
    mean, covariance : arrays (7 groups,) and (7 groups, 7 groups)
        Of all groups but chanters.
    alone, leaning, about : arrays (chanters, 7, 7), (chanters, 7, 7 groups), (chanters, 7)
        A chanter's covariance given the others, how it goes against them, and its mean where they are 0.
    tightness, pull : arrays (reeds, 7, 7) and (reeds, 7)
        What each message says of its reed's part in all groups.
    """

    prior: QuantityPrior
    reed_sd: FloatArray
    mean: FloatArray
    covariance: FloatArray
    alone: FloatArray
    leaning: FloatArray
    about: FloatArray
    tightness: FloatArray
    pull: FloatArray

    @classmethod
    def of(
        cls,
        register: Register,
        members: Members,
        messages: Sequence[Message],
        prior: QuantityPrior,
        reed_sd: FloatArray,
    ) -> Groups:
        """From all messages."""
        tightness, pull = _about_groups(messages, members, prior, reed_sd)
        count, size = len(register.chanters), len(register.groups) * _SIZE
        sds = np.concatenate([prior.sd[SHARES.index(share)] for share, _ in register.groups])
        among = members.groups[:, None, :, None] * tightness[:, :, None, :]
        precision = np.einsum("rg,rihj->gihj", members.groups, among).reshape(size, size)
        between, own = np.zeros((count, _SIZE, size)), np.zeros((count, _SIZE))
        blocks = np.repeat(np.diag(prior.sd[SHARES.index("chanter")] ** -2.0)[None], count, axis=0)
        np.add.at(between, members.chanter, among.reshape(-1, _SIZE, size))
        np.add.at(own, members.chanter, pull)
        np.add.at(blocks, members.chanter, tightness)
        alone = np.linalg.inv(blocks)
        # The last is no chanter: nothing is shared by it.
        alone[-1] = 0.0
        leaning = alone @ between
        left = precision + np.diag(sds**-2.0) - np.einsum("kiu,kiv->uv", between, leaning)
        covariance = np.linalg.inv(left)
        pulled = (members.groups.T @ pull).ravel() - np.einsum("kiu,ki->u", leaning, own)
        return cls(
            prior=prior,
            reed_sd=reed_sd,
            mean=covariance @ pulled,
            covariance=covariance,
            alone=alone,
            leaning=leaning,
            about=np.einsum("kij,kj->ki", alone, own),
            tightness=tightness,
            pull=pull,
        )

    def part(self, members: Members) -> tuple[FloatArray, FloatArray]:
        """Reeds' parts in the means (reeds, 7), with their covariances (reeds, 7, 7), by all messages."""
        shared = members.groups[:, None, :, None] * np.eye(_SIZE)[:, None, :]
        through = shared.reshape(-1, _SIZE, len(self.mean)) - self.leaning[members.chanter]
        spread = through @ self.covariance @ np.swapaxes(through, 1, 2)
        return through @ self.mean + self.about[members.chanter], spread + self.alone[members.chanter]

    def without(self, members: Members, places: Sequence[int | None]) -> tuple[FloatArray, FloatArray]:
        """Means and covariances of reeds beforehand, the message of the reed at each place left out.

        (J − XᵀWX)⁻¹ seen through X is S (1 − WS)⁻¹, S = X J⁻¹ Xᵀ (Woodbury).
        """
        mean, spread = self.part(members)
        told = np.array([place is not None for place in places], dtype=bool)
        own = [place for place in places if place is not None]
        if own:
            left = np.linalg.inv(np.eye(_SIZE) - spread[told] @ self.tightness[own])
            less = mean[told] - np.einsum("rij,rj->ri", spread[told], self.pull[own])
            mean[told], spread[told] = np.einsum("rij,rj->ri", left, less), left @ spread[told]
        squares = _own_squares(members, self.prior, self.reed_sd)
        spread = 0.5 * (spread + np.swapaxes(spread, 1, 2)) + squares[:, :, None] * np.eye(_SIZE)
        return self.prior.mean + mean, spread


def _own_squares(members: Members, prior: QuantityPrior, reed_sd: FloatArray) -> FloatArray:
    """Variances (reeds, 7) of what is a reed's own: its lot's too where that is not known."""
    return np.asarray(reed_sd**2 + members.unknown @ prior.sd[[SHARES.index(one) for one in _NAMED]] ** 2)


def _about_groups(
    messages: Sequence[Message], members: Members, prior: QuantityPrior, reed_sd: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Messages about the groups, once each reed's own part is integrated out: (reeds, 7, 7), (reeds, 7)."""
    precision = np.array([one.precision for one in messages]).reshape(-1, _SIZE, _SIZE)
    weighted = np.array([one.weighted for one in messages]).reshape(-1, _SIZE) - precision @ prior.mean
    inner = np.linalg.inv(np.eye(_SIZE) + precision * _own_squares(members, prior, reed_sd)[:, None, :])
    tightness = inner @ precision
    return 0.5 * (tightness + np.swapaxes(tightness, 1, 2)), np.einsum("rij,rj->ri", inner, weighted)


def _names(history: ReedHistory) -> list[tuple[str, str]]:
    """The groups that a reed is of, but for its chanter; what is not known it shares with none."""
    named = (("lot", history.lot), ("cut", history.cut))
    return [("bench", ""), *((share, name) for share, name in named if name is not None)]
