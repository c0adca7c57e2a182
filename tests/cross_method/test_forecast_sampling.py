"""What is foretold of a reed, beside its posterior by sampling: all kinds of reeds, gauge, ear and mouth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.reeds.forecasts.design import Moment, moment_of, observed, points_of
from canebench.reeds.forecasts.history import QUANTITIES
from canebench.reeds.forecasts.learning.pooling import beforehand, nobody, weights_of
from canebench.reeds.forecasts.mixture import Weighted
from canebench.reeds.forecasts.posterior import at_points, posterior
from support.lived_reeds import FIRST, lived_reed
from support.loads import times
from support.sampled_reed import sampled

if TYPE_CHECKING:
    from datetime import datetime

    from canebench.reeds.forecasts.history import Quantity, ReedHistory

_MEAN_SDS, _WIDTH = 0.2, 0.15


def _ours(history: ReedHistory, quantity: Quantity, there: Moment) -> Weighted:
    before = beforehand(nobody().taught[quantity], [history], quantity)
    after = posterior(observed([history], quantity), quantity, before.coefficients, before.nodes)
    found = at_points(after, points_of([[there]]))
    return Weighted(
        weights=weights_of(after)[0], means=found.mean[0, :, 0], sds=np.sqrt(found.covariance[0, :, 0, 0])
    )


def _there(history: ReedHistory, at: datetime) -> Moment:
    here = moment_of(history, at)
    return Moment(
        minutes=here.minutes + 100.0, day=here.day + 14.0, pinches=here.pinches, settings=here.settings
    )


@pytest.mark.parametrize("seed", range(times(24, usual=12)))
def test_means_and_widths_are_those_of_sampling(seed: int) -> None:
    """Within 0.2 standard deviations and 15 %, of one quantity each; every fourth reed by mouth."""
    quantity, by_mouth = QUANTITIES[seed % 3], seed % 4 == 0
    if by_mouth:
        quantity = "strength"
    history, now = lived_reed(seed, by_mouth=by_mouth)
    there = _there(history, now)
    ours = _ours(history, quantity, there)
    before = beforehand(nobody().taught[quantity], [history], quantity).coefficients
    point = np.array([there.minutes, there.day, there.pinches, there.settings])
    theirs = sampled(
        observed([history], quantity),
        quantity,
        before.mean[0],
        before.covariance[0],
        point,
        np.random.default_rng([seed, 9]),
    )
    assert abs(ours.mean - theirs.mean) < _MEAN_SDS * theirs.sd
    assert ours.sd == pytest.approx(theirs.sd, rel=_WIDTH)


def test_control_a_posterior_without_its_newest_reading_is_told_apart() -> None:
    """Without this a comparison too coarse to see a reading would pass."""
    history, now = lived_reed(1, by_mouth=False)
    assert now > FIRST
    there = _there(history, now)
    short = type(history)(
        number="short", lot="a", played=history.played, readings=history.readings[:1], handled=history.handled
    )
    whole, less = _ours(history, "low_a", there), _ours(short, "low_a", there)
    assert less.sd > (1.0 + _WIDTH) * whole.sd
