"""How many to order, beside SciPy's binomial distribution."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from canebench.base.errors import InputError
from canebench.reeds.lots.reorder import chance_of_enough, fewest, reorder


@given(st.integers(0, 40), st.integers(0, 60), st.floats(0.0, 1.0))
def test_chances_are_scipys(needed: int, reeds: int, each: float) -> None:
    assert chance_of_enough(needed, reeds, each) == pytest.approx(
        float(stats.binom.sf(needed - 1, reeds, each)), abs=1e-10
    )


@given(st.integers(1, 30), st.floats(0.1, 0.99), st.sampled_from([0.5, 0.8, 0.95]))
def test_the_fewest_are_enough_and_one_fewer_is_not(needed: int, each: float, sure: float) -> None:
    count = fewest(needed, each, sure=sure)
    assert count is not None
    assert stats.binom.sf(needed - 1, count, each) >= sure - 1e-9
    assert stats.binom.sf(needed - 1, count - 1, each) < sure + 1e-9


def test_more_than_can_be_ordered_is_said() -> None:
    assert fewest(30, 0.001, sure=0.8) is None
    assert fewest(1900, 0.9, sure=0.8) is None


def test_an_order_has_a_count_a_cautious_one_and_a_day() -> None:
    found = reorder(8, in_stock=2, settled=12, of=20, sure=0.8, needed_on=date(2031, 6, 20), days_ahead=50)
    assert found.reeds == fewest(6, 0.6, sure=0.8) == 12
    assert found.cautious is not None
    assert found.cautious > 12
    assert found.order_by == date(2031, 5, 1)
    assert found.said.startswith("Order 12 reeds by 2031-05-01: 6 settled ones are lacking, and 12 of 20 ")
    assert f"it may take {found.cautious}." in found.said


def test_where_there_are_enough_or_nothing_is_known_it_says_so() -> None:
    assert reorder(2, in_stock=3, settled=0, of=0, sure=0.8).reeds == 0
    unknown = reorder(2, in_stock=0, settled=0, of=0, sure=0.8)
    assert unknown.reeds is None
    assert "is not known" in unknown.said
    none = reorder(2, in_stock=0, settled=0, of=5, sure=0.8)
    assert none.reeds is None
    assert "more than can be told" in none.said


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="reeds counted: 6 of 5"):
        reorder(2, in_stock=0, settled=6, of=5, sure=0.8)
    with pytest.raises(InputError, match="how sure"):
        reorder(2, in_stock=0, settled=3, of=5, sure=80.0)
