"""Shares, spreads and medians of a lot beside closed forms and SciPy's."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from canebench.base.errors import InputError
from canebench.reeds.lots.outcome import median
from canebench.reeds.lots.shares import share, share_difference, spread


@given(st.integers(0, 60), st.integers(1, 60))
def test_a_share_is_wilsons_as_scipy_has_it(hits: int, more: int) -> None:
    of = hits + more
    found = share(hits, of, covers=0.9)
    theirs = stats.binomtest(hits, of).proportion_ci(0.9, method="wilson")
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_of_nothing_nothing_is_known() -> None:
    found = share(0, 0)
    assert math.isnan(found.value)
    assert (found.low, found.high) == (0.0, 1.0)
    between = share_difference((0, 0), (3, 4))
    assert (between.low, between.high) == (-1.0, 1.0)


@pytest.mark.parametrize("count", [3, 5, 10, 30])
def test_a_spread_has_the_chi_square_ends(count: int) -> None:
    values = [float(n * n % 7) for n in range(count)]
    found = spread(values)
    free, square = count - 1, stats.tvar(values)
    assert found.value == pytest.approx(math.sqrt(square))
    assert found.low == pytest.approx(math.sqrt(free * square / stats.chi2.ppf(0.95, free)), rel=0.01)
    # Wilson & Hilferty are weakest where few values leave the upper end wide.
    assert found.high == pytest.approx(math.sqrt(free * square / stats.chi2.ppf(0.05, free)), rel=0.06)


def test_two_values_have_a_spread_without_ends_and_one_has_none() -> None:
    assert spread([3.0, 5.0]).high is None
    assert math.isnan(spread([3.0]).value)


@pytest.mark.parametrize("count", [5, 8, 15, 30])
def test_the_median_of_so_many_is_held_at_least_nine_times_in_ten(count: int) -> None:
    """By the ranks that it takes: their coverage is the binomial one whatever the values."""
    found = median([float(n) for n in range(count)])
    assert found.low is not None
    place = int(found.low)
    assert found.high == count - 1 - place
    assert 1 - 2 * stats.binom.cdf(place, count, 0.5) >= 0.9
    assert 1 - 2 * stats.binom.cdf(place + 1, count, 0.5) < 0.9, "the narrowest that is enough"


def test_four_values_give_no_ends_to_a_median() -> None:
    assert median([1.0, 2.0, 3.0, 4.0]).low is None


@pytest.mark.parametrize(("hits", "of", "covers"), [(3, 2, 0.9), (-1, 2, 0.9), (1, 2, 90.0), (1, 2.5, 0.9)])
def test_counts_that_are_none_are_refused(hits: int, of: int, covers: float) -> None:
    with pytest.raises(InputError, match="was given"):
        share(hits, of, covers=covers)
