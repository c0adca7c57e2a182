"""Times as people type them: by a clock, which skips an hour in spring and tells one twice in autumn.

Guarded by `tests/invariants/test_typed_time.py`.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import time_said
from canebench.base.errors import InputError
from canebench.base.sizes import said

if TYPE_CHECKING:
    from datetime import tzinfo

#: Before it nothing of ours was played; and further back, or ahead, clocks cannot be reckoned with.
_FIRST_YEAR: Final = 1900
_DAY_ALONE: Final = len("2026-03-02")


def past_time_typed(text: str, zone: tzinfo | None, *, field: str, now: datetime) -> datetime:
    """A time that was typed, such as 2026-03-02 19:05, by the clock of a zone; None is this machine's.

    With a distance from UTC behind it (2026-10-25 01:30+01:00) it is by that. An error says what else is
    needed: where it is none, lies ahead, was skipped as the clocks went forward, or came twice as they went
    back. Guarded by `tests/invariants/test_typed_time.py`.
    """
    given = text.strip()
    try:
        told = datetime.fromisoformat(given)
    except ValueError:
        told = None
    if told is None or len(given) <= _DAY_ALONE:
        raise InputError(
            field=field,
            given=said(text),
            allowed="a day and a time are needed",
            nearest=time_said(now, zone),
        )
    if not _FIRST_YEAR <= told.year <= now.year + 1:
        raise InputError(
            field=field,
            given=said(given),
            allowed=f"a time from {_FIRST_YEAR} until now is needed",
            nearest=_last_such(told, zone, now),
        )
    found = told if told.tzinfo is not None else on_clock(told, zone, field=field)
    if found > now:
        nearest = _last_such(told, zone, now)
        raise InputError(field=field, given=said(given), allowed="it lies before now", nearest=nearest)
    return found


def on_clock(at: datetime, zone: tzinfo | None, *, field: str, once: bool = True) -> datetime:
    """A time on the clock of a zone, with its zone.

    An error where it was skipped as the clocks went forward; with `once`, also where it came twice as they
    went back: else `fold` tells which. Guarded by `tests/invariants/test_typed_time.py` and
    `tests/faults/test_bad_plans.py`.
    """
    first, second = (_there(at.replace(fold=fold), zone) for fold in (0, 1))
    back = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    whose = "of this machine" if zone is None else f"in {zone}"
    if back != at.replace(fold=0):
        raise InputError(
            field=field,
            given=at.isoformat(" ", timespec="minutes"),
            allowed=f"the clocks {whose} went forward then: there was no such time",
            nearest=back.isoformat(" ", timespec="minutes"),
        )
    if once and first.utcoffset() != second.utcoffset():
        raise InputError(
            field=field,
            given=at.isoformat(" ", timespec="minutes"),
            allowed=f"the clocks {whose} went back then: there were two such times, so its distance from UTC "
            "is needed too",
            nearest=" or ".join(one.isoformat(" ", timespec="minutes") for one in (first, second)),
        )
    return second if at.fold else first


def _there(at: datetime, zone: tzinfo | None) -> datetime:
    return at.astimezone() if zone is None else at.replace(tzinfo=zone)


def _last_such(told: datetime, zone: tzinfo | None, now: datetime) -> str:
    """The last time before now at which a clock showed that hour: its day is what was likely mistyped."""
    here = now.astimezone(zone)
    on_day = here.replace(hour=told.hour, minute=told.minute, second=0, microsecond=0)
    return time_said(on_day if on_day <= here else on_day - timedelta(days=1), zone)
