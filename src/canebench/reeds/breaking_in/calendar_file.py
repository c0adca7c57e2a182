"""A plan as a calendar file (RFC 5545), through icalendar (the extra `calendar`).

A session's UID is made of the plan's name, the reed and the session's place in the reed's life: a later plan
of that name puts the session where it is now. Guarded by `tests/invariants/test_calendar_file.py`.
"""

from __future__ import annotations

import uuid
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Any, Final

from canebench.base.clock.local_time import check_zone
from canebench.base.errors import InputError
from canebench.base.parsing import check_name
from canebench.base.sizes import check_count

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from canebench.reeds.breaking_in.planned import BreakInSession

#: Names are made in this space of ours, itself made of the tool's name.
_SPACE: Final = uuid.uuid5(uuid.NAMESPACE_URL, "canebench:break-in-session")
_PRODUCER: Final = "-//Canebench//Break-in plan//EN"


def session_uid(plan: str, session: BreakInSession) -> str:
    """The one name of a session in every calendar.

    Parameters
    ----------
    plan : str
        The name of the plan, such as the ledger's own.
    session : BreakInSession
        Its reed and its rung count; player, day and length do not.

    Returns
    -------
    str
        A UUID (RFC 7986, 5.3), which tells nothing of who or what.
    """
    return str(uuid.uuid5(_SPACE, "\x1f".join((plan, session.reed, str(session.rung)))))


def calendar_bytes(
    sessions: Iterable[BreakInSession],
    *,
    plan: str,
    made: datetime,
    revision: int,
    cancelled: Iterable[BreakInSession] = (),
) -> bytes:
    """The sessions of a plan, of one player or of all, as the bytes of an .ics file.

    Parameters
    ----------
    sessions : BreakInSession each
        As planned now.
    plan : str
        Its name: the same as in the file before, so that this one replaces it.
    made : datetime
        When, with its zone.
    revision : int >= 0
        Higher than in the file before.
    cancelled : BreakInSession each
        Sessions of an earlier plan that are no more; one that is still among `sessions` is left out here.

    Returns
    -------
    bytes
        UTF-8, lines of 75 octets at the most; the same for the same input.

    Raises
    ------
    InputError
        A blank name, a time without a zone, a revision that is none, no `icalendar` installed.
    """
    check_name("name of the plan", plan)
    check_zone("time it was made", made)
    check_count("revision", revision, 0, 2**31 - 1)
    icalendar = _icalendar()
    calendar = icalendar.Calendar()
    calendar.add("prodid", _PRODUCER)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    told = sorted(sessions, key=_by_time)
    known = {session_uid(plan, one) for one in told}
    gone = [one for one in sorted(cancelled, key=_by_time) if session_uid(plan, one) not in known]
    for one, status in [*((one, "CONFIRMED") for one in told), *((one, "CANCELLED") for one in gone)]:
        event = icalendar.Event()
        event.add("uid", session_uid(plan, one))
        event.add("dtstamp", made.astimezone(UTC))
        event.add("sequence", revision)
        event.add("dtstart", one.starts)
        event.add("dtend", _end(one))
        event.add("summary", f"Reed {one.reed}: {one.minutes:g} min ({one.player})")
        event.add("description", f"Session {one.rung} of reed {one.reed}. {one.player}'s mouth only.")
        event.add("status", status)
        calendar.add_component(event)
    every = [one.starts for one in (*told, *gone)]
    if every:
        # A year more on both sides, so that the rule before the first session is among them.
        year = timedelta(days=366)
        calendar.add_missing_timezones((min(every) - year).date(), (max(every) + year).date())
    return bytes(calendar.to_ical())


def _by_time(one: BreakInSession) -> tuple[float, str, str]:
    return one.starts.timestamp(), one.player, one.reed


def _end(one: BreakInSession) -> datetime:
    """In true minutes, on the clock of the same zone."""
    return (one.starts.astimezone(UTC) + timedelta(minutes=one.minutes)).astimezone(one.starts.tzinfo)


def _icalendar() -> Any:
    try:
        import icalendar  # noqa: PLC0415 - an optional extra
    except ImportError as error:
        raise InputError(
            field="calendar file",
            given=".ics",
            allowed="the package icalendar is needed for it",
            nearest="pip install 'canebench[calendar]'; the plan is on paper and on the page without it",
        ) from error
    return icalendar
