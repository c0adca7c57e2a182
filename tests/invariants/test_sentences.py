"""Pieces of sentences: nothing lost, nothing doubled."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.sentences import capitalized, listed, seat_said

_NAMES = st.lists(st.text("abcdefgh", min_size=1), min_size=1, max_size=6)


@given(_NAMES)
def test_every_name_is_in_the_list_once(names: list[str]) -> None:
    assert listed(names).replace(" and ", ", ").split(", ") == names


@pytest.mark.parametrize(
    ("names", "said"), [("B", "B"), ("BC", "B and C"), ("BCD", "B, C and D"), ("BCDE", "B, C, D and E")]
)
def test_the_last_of_several_names_has_an_and(names: str, said: str) -> None:
    assert listed(names) == said


@given(st.text("abcXYZ ", min_size=1))
def test_only_the_first_letter_changes(words: str) -> None:
    assert capitalized(words)[1:] == words[1:]
    assert capitalized(words)[0] == words[0].upper()


@pytest.mark.parametrize(
    ("seat_mm", "said"),
    [(0.0, "as seated by hand, firm"), (0.5, "0.50 mm deeper than the hand seat")],
)
def test_where_a_reed_sits(seat_mm: float, said: str) -> None:
    assert seat_said(seat_mm) == said
    if seat_mm:
        assert seat_said(-seat_mm) == said.replace("deeper", "higher")
