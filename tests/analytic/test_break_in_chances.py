"""Minutes until a reed settles, and how many of several do, beside closed forms and SciPy's."""

from __future__ import annotations

import math
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from canebench.reeds.breaking_in.chances import (
    StillToPlay,
    at_least,
    from_three_times,
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


def test_samples_speak_for_themselves() -> None:
    still = StillToPlay(samples_min=(30.0, 10.0, math.inf, 20.0))
    assert [still.by(at) for at in (0.0, 10.0, 25.0, 30.0, 9000.0)] == [0.0, 0.25, 0.5, 0.75, 0.75]
    assert [still.minutes_for(at) for at in (0.2, 0.25, 0.5, 0.7, 0.8)] == [10.0, 10.0, 20.0, 30.0, None]


def test_three_times_give_the_log_normal_that_has_them() -> None:
    still = from_three_times(60.0, 100.0, 100.0**2 / 60.0)
    assert [still.by(at) for at in (60.0, 100.0, 100.0**2 / 60)] == pytest.approx([0.1, 0.5, 0.9])
    assert from_three_times(60.0, 100.0, None) == still


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
