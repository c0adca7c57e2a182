"""Sessions are short at first and grow over about two weeks; nothing is played above them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.reeds.breaking_in.ladder import USUAL_LADDER, Ladder, ladder_from


def test_the_usual_ladder_grows_from_five_minutes_to_twenty_in_two_weeks_and_says_what_it_is() -> None:
    """Common practice, no source."""
    minutes = USUAL_LADDER.minutes
    assert len(minutes) == 14
    assert (minutes[0], minutes[-1]) == (5, 20)
    assert list(minutes) == sorted(minutes)
    assert "no source" in USUAL_LADDER.marked
    assert "estimate" in USUAL_LADDER.marked


@given(st.integers(0, 30), st.floats(0, 400), st.sampled_from([3.0, 9.0, 20.0, 45.0]))
def test_a_reed_is_given_what_it_needs_and_not_a_session_more(had: int, needed: float, most: float) -> None:
    lengths = USUAL_LADDER.lengths(had, needed, most_min=most)
    rungs = (*USUAL_LADDER.minutes, *(20.0,) * 200)[had:]
    assert all(own == min(rung, most) for own, rung in zip(lengths, rungs, strict=False))
    assert sum(lengths) >= needed
    assert sum(lengths[:-1]) < needed or not lengths


def test_after_the_last_rung_every_session_is_as_long_as_it() -> None:
    assert Ladder(minutes=(4, 6)).lengths(1, 17.0, most_min=60.0) == (6, 6, 6)


def test_a_ladder_as_it_is_typed() -> None:
    assert ladder_from() == USUAL_LADDER
    told = ladder_from("4, 4 6,9", "24")
    assert (told.minutes, told.rest_h) == ((4.0, 4.0, 6.0, 9.0), 24.0)
    assert told.marked == "as told for this plan"
    assert ladder_from("", "12").minutes == USUAL_LADDER.minutes
    for minutes, rest, match in (("5, four", "", "session 2"), ("8, 5", "", "session 2"), ("5", "x", "rest")):
        with pytest.raises(InputError, match=match):
            ladder_from(minutes, rest)
