"""Names that differ only in capitals, spaces or leading zeros are one; others never are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.parsing import folded
from canebench.bench.acts.near_names import near_name


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("7", "07"),
        ("ann", "Ann"),
        ("box 3", "Box  03"),
        ("Ann\u00a0B", "annb"),
        ("A7", "a007"),
        ("STRASSE", "straße"),
    ],
)
def test_these_are_one(name: str, other: str) -> None:
    assert folded(name) == folded(other)
    assert near_name(name, ["x", other]) == other


@pytest.mark.parametrize(
    ("name", "other"), [("7", "70"), ("1", "10"), ("0", "00x"), ("a1", "a10"), ("Ann", "Anne"), ("100", "1")]
)
def test_these_are_not(name: str, other: str) -> None:
    assert near_name(name, [other]) is None


def test_a_name_itself_is_no_near_one() -> None:
    assert near_name("Ann", ["ann", "Ann"]) is None


@given(st.integers(0, 10**6), st.integers(0, 5))
def test_leading_zeros_never_change_a_number(number: int, zeros: int) -> None:
    assert folded("0" * zeros + str(number)) == str(number)


@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_two_numbers_are_one_only_where_they_are_equal(one: int, other: int) -> None:
    assert (folded(str(one)) == folded(str(other))) == (one == other)


@given(st.text(alphabet="abcXYZ019 \t", min_size=1, max_size=12), st.integers(0, 12))
def test_capitals_and_spaces_never_make_another(text: str, at: int) -> None:
    for other in (text.swapcase(), f" {text}  ", text[:at] + text[at:].replace("a", "A")):
        assert folded(other) == folded(text)
