"""Times for people: by the clock of a zone, summer and winter; what is written for programs stays in UTC."""

from __future__ import annotations

import os
import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from unittest.mock import Mock
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.clock import local_time
from canebench.base.clock.local_time import day_said, time_said, zone_named, zone_said
from canebench.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

_LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def in_tokyo(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A machine whose own clock is nine hours before UTC."""
    monkeypatch.setitem(os.environ, "TZ", "Asia/Tokyo")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_a_zone_has_its_summer_and_its_winter() -> None:
    assert time_said("2026-01-15T19:05:00.000Z", _LONDON) == "2026-01-15 19:05"
    assert time_said("2026-07-15T19:05:00.000Z", _LONDON) == "2026-07-15 20:05"
    # The control: the same moment in UTC is another time on the wall.
    assert time_said("2026-07-15T19:05:00.000Z", UTC) == "2026-07-15 19:05"


def test_a_day_ends_at_midnight_on_the_wall() -> None:
    assert day_said("2026-07-15T23:30:00.000Z", _LONDON) == "2026-07-16"
    assert day_said("2026-07-15T23:30:00.000Z", UTC) == "2026-07-15"
    # A day that was told as one has no clock.
    assert day_said("2026-07-15", ZoneInfo("Pacific/Kiritimati")) == "2026-07-15"


@pytest.mark.usefixtures("in_tokyo")
def test_without_a_zone_it_is_this_machines() -> None:
    assert time_said("2026-07-15T19:05:00.000Z", None) == "2026-07-16 04:05"
    assert "JST" in zone_said(None)


@given(st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)), st.sampled_from(["Asia/Tokyo", "UTC"]))
def test_what_is_said_is_the_same_moment(bare: datetime, name: str) -> None:
    moment, zone = bare.replace(tzinfo=UTC), ZoneInfo(name)
    back = datetime.strptime(time_said(moment, zone), "%Y-%m-%d %H:%M").replace(tzinfo=zone)
    assert timedelta() <= moment - back < timedelta(minutes=1)


def test_an_unknown_zone_names_the_nearest() -> None:
    assert zone_named("Europe/London") == _LONDON
    for wrong in ("Europe/Lundon", "../etc/passwd", "", "Europe"):
        with pytest.raises(InputError, match="time zone"):
            zone_named(wrong)
    with pytest.raises(InputError, match=r"Nearest that works: Europe/London\."):
        zone_named("Europe/Lundon")
    with pytest.raises(ValueError, match="without a zone"):
        time_said("2026-07-15T19:05:00", _LONDON)


def test_the_zone_next_to_an_unknown_one_is_looked_for_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """To go through them all takes forty milliseconds, and a ledger is asked for its zone by every page."""
    looked = Mock(return_value={"Asia/Tokyo"})
    monkeypatch.setattr(local_time, "available_timezones", looked)
    for wrong in ("Asia/Tokio", "Asia/Tokio", "Asia/Tokyou"):
        with pytest.raises(InputError, match=r"Nearest that works: Asia/Tokyo\."):
            zone_named(wrong)
    assert looked.call_count == 2
    local_time._nearest_zone.cache_clear()
