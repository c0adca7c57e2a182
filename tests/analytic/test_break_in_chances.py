"""Minutes until a reed settles, and how many of several do, beside closed forms and SciPy's."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from canebench.reeds.breaking_in.chances import (
    StillToPlay,
    at_least,
    settle_counts,
    sure_of,
)


@pytest.mark.parametrize("played", [1.0, 50.0, 100.0, 170.0, 900.0])
def test_log_normal_minutes_are_those_of_scipy(played: float) -> None:
    still = StillToPlay(median_min=100.0, log_sd=0.4, never=0.1)
    assert still.by(played) == pytest.approx(0.9 * stats.lognorm.cdf(played, 0.4, scale=100.0), abs=1e-12)


@given(st.floats(2, 500), st.floats(0, 1.0), st.floats(0, 0.4), st.floats(0.05, 0.95))
def test_after_the_minutes_for_a_chance_it_is_reached(
    median: float, log_sd: float, never: float, chance: float
) -> None:
    still = StillToPlay(median_min=median, log_sd=log_sd, never=never)
    needed = still.minutes_for(chance)
    if needed is None:
        assert chance >= 1 - never or median * math.exp(log_sd * stats.norm.ppf(chance / (1 - never))) > 5999
        return
    assert still.by(needed) >= chance - 1e-12
    assert still.by(needed * 0.99) <= max(chance, 0.0) if log_sd else True


def test_a_curve_is_straight_between_its_points_and_ends_as_it_does() -> None:
    still = StillToPlay(curve=((0.0, 0.0), (10.0, 0.2), (30.0, 0.6), (90.0, 0.6)))
    assert [still.by(at) for at in (0.0, 5.0, 20.0, 30.0, 9000.0)] == pytest.approx([0, 0.1, 0.4, 0.6, 0.6])
    assert still.most == 0.6
    assert [still.minutes_for(at) for at in (0.1, 0.2, 0.4, 0.6)] == pytest.approx([5.0, 10.0, 20.0, 30.0])
    assert still.minutes_for(0.61) is None


@given(
    st.lists(st.tuples(st.floats(0.5, 90), st.floats(0, 0.2)), min_size=1, max_size=5),
    st.floats(0.01, 0.99),
)
def test_after_the_minutes_of_a_curve_the_chance_is_reached(
    steps: list[tuple[float, float]], chance: float
) -> None:
    minutes, chances = np.cumsum([(0.0, 0.0), *steps], axis=0).T
    still = StillToPlay(curve=tuple(zip(minutes.tolist(), chances.tolist(), strict=True)))
    needed = still.minutes_for(chance)
    if needed is None:
        assert still.most < chance
        return
    assert still.by(needed) >= chance - 1e-9
    assert still.by(needed * 0.99) <= chance


def test_a_reed_that_never_gets_there_is_planned_to_a_share_of_its_most() -> None:
    plateau = StillToPlay(curve=((0.0, 0.0), (100.0, 0.5), (200.0, 0.5)))
    assert plateau.enough_min(0.8) == pytest.approx(80.0)
    rising = StillToPlay(curve=((0.0, 0.0), (100.0, 0.5), (200.0, 1.0)))
    assert rising.enough_min(0.8) == pytest.approx(160.0)
    assert StillToPlay(median_min=50.0, never=0.5).enough_min(0.8) == pytest.approx(50.0 * 1.0, rel=1e-9)
    # One that hardly settles at all is in no plan.
    assert StillToPlay(curve=((0.0, 0.0), (100.0, 0.19))).enough_min(0.8) is None
    assert StillToPlay(curve=((0.0, 0.0), (100.0, 0.21))).enough_min(0.8) is not None


def test_counts_of_unlike_reeds_are_what_trying_all_outcomes_gives() -> None:
    chances = (0.9, 0.5, 0.75, 0.2)
    tried = [0.0] * 5
    for outcome in product((0, 1), repeat=4):
        tried[sum(outcome)] += math.prod(p if o else 1 - p for p, o in zip(chances, outcome, strict=True))
    assert settle_counts(chances) == pytest.approx(tried)
    assert at_least(3, chances) == pytest.approx(tried[3] + tried[4])
    assert settle_counts((0.5, 0.5, 0.5, 0.5)) != pytest.approx(tried), "control"


@pytest.mark.parametrize(("count", "chance"), [(1, 0.8), (7, 0.6), (20, 0.35)])
def test_counts_of_like_reeds_are_binomial(count: int, chance: float) -> None:
    expected = stats.binom.pmf(range(count + 1), count, chance)
    assert settle_counts([chance] * count) == pytest.approx(expected)


def test_how_many_to_count_on() -> None:
    assert sure_of(0.8, [0.8] * 4) == 3
    assert sure_of(0.8, [0.8]) == 1
    assert sure_of(0.9, [0.8]) == 0
    assert sure_of(0.8, []) == 0
