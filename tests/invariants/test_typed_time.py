"""A time as it is typed: read by the clock of a zone, or refused with what else is needed and the nearest."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.clock.local_time import time_said
from canebench.base.clock.typed_time import past_time_typed
from canebench.base.errors import InputError

_LONDON = ZoneInfo("Europe/London")
_NOW = datetime(2026, 11, 2, 12, 0, tzinfo=UTC)


def _typed(text: str, zone: ZoneInfo | None = _LONDON) -> datetime:
    return past_time_typed(text, zone, field="when", now=_NOW)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("2026-07-15 19:05", datetime(2026, 7, 15, 18, 5, tzinfo=UTC)),
        (" 2026-07-15T19:05 ", datetime(2026, 7, 15, 18, 5, tzinfo=UTC)),
        ("2026-01-15 19:05", datetime(2026, 1, 15, 19, 5, tzinfo=UTC)),
        # Either of the two hours that the clock shows as one.
        ("2026-10-25 01:30+01:00", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("2026-10-25 01:30+00:00", datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),
        # The hours beside a change of the clock are told once.
        ("2026-03-29 00:59", datetime(2026, 3, 29, 0, 59, tzinfo=UTC)),
        ("2026-03-29 02:00", datetime(2026, 3, 29, 1, 0, tzinfo=UTC)),
        ("2026-10-25 00:59", datetime(2026, 10, 24, 23, 59, tzinfo=UTC)),
        ("2026-10-25 02:00", datetime(2026, 10, 25, 2, 0, tzinfo=UTC)),
    ],
)
def test_it_is_read_by_the_clock_of_the_zone(text: str, found: datetime) -> None:
    assert _typed(text) == found


@pytest.mark.parametrize(
    ("text", "allowed", "nearest"),
    [
        ("yesterday", "a day and a time", "2026-11-02 12:00"),
        ("2026-10-01", "a day and a time", "2026-11-02 12:00"),
        ("", "a day and a time", "2026-11-02 12:00"),
        # Later today, and a year mistyped: that hour came last yesterday, or today.
        ("2026-11-02 19:05", "it lies before now", "2026-11-01 19:05"),
        ("2027-11-02 09:05", "it lies before now", "2026-11-02 09:05"),
        ("9999-12-31 23:59", "from 1900 until now", "2026-11-01 23:59"),
        ("0001-01-01 00:00", "from 1900 until now", "2026-11-02 00:00"),
        ("2026-03-29 01:30", "the clocks in Europe/London went forward", "2026-03-29 02:30"),
        (
            "2026-10-25 01:30",
            "the clocks in Europe/London went back",
            "2026-10-25 01:30+01:00 or 2026-10-25 01:30+00:00",
        ),
    ],
)
def test_what_was_no_time_is_refused_with_the_nearest(text: str, allowed: str, nearest: str) -> None:
    with pytest.raises(InputError) as caught:
        _typed(text)
    assert caught.value.field == "when"
    assert allowed in caught.value.allowed
    assert caught.value.nearest == nearest
    # Whatever is offered is taken.
    for one in nearest.split(" or "):
        assert _typed(one) <= _NOW


@given(st.datetimes(min_value=datetime(1971, 1, 1), max_value=datetime(2026, 11, 1)))
def test_what_a_page_says_is_read_back(at: datetime) -> None:
    """But where the clock says it twice, which is refused."""
    minute = at.replace(second=0, microsecond=0, tzinfo=UTC)
    shown = time_said(minute, _LONDON)
    twice = {time_said(minute + timedelta(hours=apart), _LONDON) == shown for apart in (-1, 1)} != {False}
    if twice:
        with pytest.raises(InputError, match="went back"):
            _typed(shown)
    else:
        assert _typed(shown) == minute


def test_without_a_zone_it_is_this_machines_clock() -> None:
    told = datetime(2026, 7, 15, 19, 5).astimezone()
    assert _typed("2026-07-15 19:05", None) == told
