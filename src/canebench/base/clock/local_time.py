"""Times for people: the ledger keeps UTC, whoever reads is told the time on the wall.

A zone is one that was named (IANA, such as Europe/London), or None for this machine's own. What is written
for other programs stays in UTC. Guarded by `tests/invariants/test_local_time.py`.
"""

from __future__ import annotations

from datetime import datetime
from difflib import get_close_matches
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, available_timezones

from canebench.base.errors import InputError
from canebench.base.sizes import said

if TYPE_CHECKING:
    from datetime import tzinfo


def zone_named(name: str) -> ZoneInfo:
    """The zone of that name; an unknown one is an error that tells the nearest.

    Guarded by `tests/invariants/test_local_time.py`.
    """
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError, TypeError) as error:
        typed = name if isinstance(name, str) else said(name)
        raise InputError(
            field="time zone",
            given=repr(typed[:60]),
            allowed="the name of a zone is needed, such as Europe/London",
            nearest=_nearest_zone(typed),
        ) from error


@lru_cache(maxsize=16)
def _nearest_zone(typed: str) -> str:
    """Kept: every zone is compared, and a ledger whose zone is unknown here asks for each page."""
    close = get_close_matches(typed, sorted(available_timezones()), n=1)
    return close[0] if close else "Europe/London"


def check_zone(field: str, at: datetime) -> None:
    """An error where a time has no zone, or is none.

    Guarded by `tests/invariants/test_local_time.py`.
    """
    if not isinstance(at, datetime) or at.utcoffset() is None:
        raise InputError(
            field=field,
            given=at.isoformat() if isinstance(at, datetime) else said(at),
            allowed="a date and time with its zone is needed",
            nearest="2031-05-04T18:30+01:00",
        )


def time_said(moment: datetime | str, zone: tzinfo | None) -> str:
    """A time as a table has it: 2026-03-02 19:05, by the clock of the zone.

    A text is an ISO 8601 time with its zone, as the ledger writes it.
    """
    return f"{_there(moment, zone):%Y-%m-%d %H:%M}"


def day_said(moment: datetime | str, zone: tzinfo | None) -> str:
    """Its day: 2026-03-02. A text that is a day and no time stays as it is."""
    if isinstance(moment, str) and "T" not in moment:
        return moment
    return _there(moment, zone).date().isoformat()


def zone_said(zone: tzinfo | None) -> str:
    """Whose clock it is, in words."""
    if zone is None:
        return f"this machine’s clock ({datetime.now().astimezone().tzname()})"
    return str(zone)


def _there(moment: datetime | str, zone: tzinfo | None) -> datetime:
    found = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
    if found.tzinfo is None:
        raise ValueError("a time without a zone")
    # None is this machine's own, with summer time as it was then.
    return found.astimezone(zone)
