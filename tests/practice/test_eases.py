"""Pinches are counted for life: one is normal, three are the most. Common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from canebench.base.errors import UnlessInsistedError
from canebench.reeds.eases import MOST, before_ease, check_pinch, left, left_said, said


@pytest.mark.parametrize(("pinches", "still"), [(0, 3), (1, 2), (2, 1), (3, 0), (5, 0)])
def test_how_many_are_left(pinches: int, still: int) -> None:
    assert left(pinches) == still


def test_after_the_third_no_more_is_recommended() -> None:
    assert "normal" in said(1)
    assert "No further pinch" in said(3)
    assert "more than a reed bears" in said(4)
    for pinches in range(3):
        assert "No further" not in said(pinches)


@pytest.mark.parametrize(
    ("pinches", "few"),
    [
        (0, "3 of 3 pinches left"),
        (2, "1 of 3 pinches left"),
        (3, "none of 3 pinches left"),
        (5, "pinched 5 times, 2 past the most"),
    ],
)
def test_what_is_left_in_a_few_words(pinches: int, few: str) -> None:
    assert left_said(pinches) == few


def test_the_fourth_is_refused_with_the_reason_unless_one_insists() -> None:
    for pinches in range(MOST):
        check_pinch(pinches, insisted=False)
    for pinches in (MOST, MOST + 1, MOST + 2):
        with pytest.raises(UnlessInsistedError, match=f"number {pinches + 1} was given; a reed bears 3"):
            check_pinch(pinches, insisted=False)
        check_pinch(pinches, insisted=True)


def test_control_a_reed_that_bears_more_lets_the_fourth_through(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canebench.reeds.eases.MOST", MOST + 1)
    check_pinch(MOST, insisted=False)


def test_a_reading_before_the_last_ease_says_so() -> None:
    read = datetime(2031, 5, 4, 18, 30, tzinfo=UTC)
    day = timedelta(days=1)
    assert before_ease(read, []) is None
    assert before_ease(read, [(read - day, "pinch"), (read, "pinch")]) is None
    assert before_ease(read, [(read + day, "pinch")]) == "before the pinch"
    assert before_ease(read, [(read + day, "other")]) == "before it was eased"
    assert before_ease(read, [(read + day, "pinch"), (read + 2 * day, "other")]) == "before the pinch"
