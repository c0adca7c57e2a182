"""Typed numbers, however their point and minus are written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.base.parsing import count_from, number_from


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_comma_point_and_true_minus_are_one_number(value: float) -> None:
    text = f"{value:f}"
    for typed in (text, text.replace(".", ","), text.replace("-", "\u2212"), f"  {text} "):
        assert number_from(typed, "size") == float(text)


@pytest.mark.parametrize("text", ["", "nan", "inf", "-inf", "1.2.3", "1,000,0", "one", "1e999", "0x10"])
def test_what_is_no_number_is_told(text: str) -> None:
    with pytest.raises(InputError, match=r"size: .* was given; a number is needed, like 1\.5"):
        number_from(text, "size")


@given(st.integers(min_value=-(10**30), max_value=10**30))
def test_whole_numbers(value: int) -> None:
    """Also past 2^53, where a seed would else become another."""
    for typed in (str(value), str(value).replace("-", "\u2212")):
        assert count_from(typed, "pinches") == value


@given(st.integers(min_value=-(10**9), max_value=10**9))
def test_half_a_thing_is_refused(value: int) -> None:
    assert count_from(f"{value},0", "pinches") == value
    with pytest.raises(InputError, match="whole number"):
        count_from(f"{value}.5", "pinches")
