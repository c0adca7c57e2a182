"""What reeds teach each other, beside one dense linear solution of the whole hierarchy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canebench.reeds.forecasts.history import ReedHistory
from canebench.reeds.forecasts.learning.groups import Message
from canebench.reeds.forecasts.learning.pooling import beforehand, nobody
from canebench.reeds.forecasts.priors import COEFFICIENTS, PRIORS, SHARES

_SIZE = len(COEFFICIENTS)
_GROUPS = (("a", "one", "x"), ("a", "one", "y"), ("b", "one", "x"), ("b", "two", None))


def _reeds() -> list[ReedHistory]:
    return [
        ReedHistory(number=f"{n}", lot=lot, cut=cut, chanter=chanter)
        for n, (lot, cut, chanter) in enumerate(_GROUPS * 2)
    ]


def _messages(count: int) -> list[Message]:
    """What each reed's readings would say: any precision, one of them no more than a direction."""
    rng = np.random.default_rng(3)
    found = []
    for place in range(count):
        half = rng.normal(0.0, 2.0, (_SIZE, 1 if place == 0 else _SIZE))
        precision = half @ half.T
        found.append(Message(precision=precision, weighted=precision @ rng.normal(0.0, 1.0, _SIZE)))
    return found


def _dense(reeds: list[ReedHistory], messages: list[Message], left_out: int) -> tuple[np.ndarray, np.ndarray]:
    """Every reed's coefficients as one normal vector, conditioned on all messages but one."""
    prior = PRIORS["strength"]
    covariance = np.zeros((len(reeds) * _SIZE, len(reeds) * _SIZE))
    for i, one in enumerate(reeds):
        for j, other in enumerate(reeds):
            shared = prior.sd[SHARES.index("bench")] ** 2
            for share in ("lot", "cut", "chanter"):
                mine, theirs = getattr(one, share), getattr(other, share)
                if i == j or (mine is not None and mine == theirs):
                    shared = shared + prior.sd[SHARES.index(share)] ** 2
            if i == j:
                shared = shared + prior.sd[SHARES.index("reed")] ** 2
            covariance[i * _SIZE : (i + 1) * _SIZE, j * _SIZE : (j + 1) * _SIZE] = np.diag(shared)
    mean = np.tile(prior.mean, len(reeds))
    precision, weighted = np.linalg.inv(covariance), np.linalg.solve(covariance, mean)
    for place, message in enumerate(messages):
        if place != left_out:
            block = slice(place * _SIZE, (place + 1) * _SIZE)
            precision[block, block] += message.precision
            weighted[block] += message.weighted
    after = np.linalg.inv(precision)
    block = slice(left_out * _SIZE, (left_out + 1) * _SIZE)
    return (after @ weighted)[block], after[block, block]


@pytest.mark.parametrize("place", range(8))
def test_a_reeds_prior_is_the_dense_solution_without_its_own_message(place: int) -> None:
    reeds, messages = _reeds(), _messages(8)
    taught = replace(
        nobody().taught["strength"],
        histories=tuple(reeds),
        messages=tuple(messages),
        scales=np.zeros((8, 4, 4)),
        tau_shares=np.zeros((8, 6)),
        lessons=np.zeros((8, 13)),
    )
    before = beforehand(taught, reeds, "strength").coefficients
    mean, covariance = _dense(reeds, messages, place)
    assert before.mean[place] == pytest.approx(mean, abs=1e-8)
    assert before.covariance[place] == pytest.approx(covariance, abs=1e-8)


def test_control_with_its_own_message_it_would_be_another() -> None:
    reeds, messages = _reeds(), _messages(8)
    mean, _ = _dense(reeds, messages, 1)
    messages[1] = Message(precision=messages[1].precision * 4.0, weighted=messages[1].weighted * 5.0)
    same, _ = _dense(reeds, messages, 1)
    other, _ = _dense(reeds, messages, 2)
    assert mean == pytest.approx(same, abs=1e-12)
    assert np.abs(mean - other).max() > 1e-3
