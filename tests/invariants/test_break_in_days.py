"""Rest is counted in true hours, also over a day of 23 or 25."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from canebench.reeds.breaking_in.days import days_between, player_days
from canebench.reeds.breaking_in.people import PlayerTime

_MORNING = time(8, 0)


def _after(first: date, rest_h: float, *, zone: str = "Europe/Dublin") -> tuple[int, ...]:
    now = datetime(first.year, first.month, first.day, 3, 0, tzinfo=UTC)
    person = PlayerTime(name="Ann", minutes=(30.0,) * 7, zone=zone, starts=_MORNING, sessions_a_day=1)
    return player_days(person, days_between(now, first + timedelta(days=4)), now=now, rest_h=rest_h).after


@pytest.mark.parametrize(
    ("first", "rest_h", "after"),
    [
        # From 8:30 on Saturday to 8:00 on Sunday there are 23.5 hours, 22.5 where the clocks go forward,
        # 24.5 where they go back.
        (date(2031, 6, 7), 23.5, (1, 2, 3, 4)),
        (date(2031, 3, 29), 23.5, (2, 2, 3, 4)),
        (date(2031, 3, 29), 22.5, (1, 2, 3, 4)),
        (date(2031, 10, 25), 24.5, (1, 3, 4, 4)),
        (date(2031, 6, 7), 24.5, (2, 3, 4, 4)),
    ],
)
def test_a_reed_has_rested_after_true_hours(first: date, rest_h: float, after: tuple[int, ...]) -> None:
    assert _after(first, rest_h) == after


def test_where_clocks_do_not_change_that_day_is_as_any_other() -> None:
    """Control."""
    assert _after(date(2031, 3, 29), 23.5, zone="Asia/Kathmandu") == (1, 2, 3, 4)


def test_the_latest_day_before_is_the_other_side_of_the_first_day_after() -> None:
    now = datetime(2031, 3, 25, 3, 0, tzinfo=UTC)
    person = PlayerTime(name="Ann", minutes=(30.0,) * 7, zone="Europe/Dublin", starts=_MORNING)
    days = player_days(person, days_between(now, date(2031, 4, 8)), now=now, rest_h=23.2)
    for day, before in enumerate(days.latest_before()):
        rested = [other for other in range(day) if days.after[other] <= day]
        assert before == max(rested, default=-1)


def test_a_day_that_has_begun_has_no_minutes_left() -> None:
    now = datetime(2031, 6, 2, 9, 0, tzinfo=UTC)
    person = PlayerTime(name="Ann", minutes=(30.0,) * 7, zone="Europe/Dublin", starts=_MORNING)
    days = player_days(person, days_between(now, date(2031, 6, 5)), now=now, rest_h=20.0)
    assert days.minutes == (0.0, 30.0, 30.0)
