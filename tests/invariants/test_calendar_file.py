"""A plan's calendar file, read back by a strict reader of our own and by another's parser."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.reeds.breaking_in.calendar_file import calendar_bytes, session_uid
from canebench.reeds.breaking_in.planned import BreakInSession
from support.strict_calendar import events, instant, read_strictly, text_of

_MADE = datetime(2031, 3, 20, 12, 0, tzinfo=UTC)
#: On both sides of the change of the clocks on 30 March, and of no change at all.
_ZONES = (ZoneInfo("Europe/Dublin"), ZoneInfo("Asia/Kathmandu"), UTC)


def _session(rung: int, *, zone: int = 0, reed: str = "7", minutes: float = 15.0) -> BreakInSession:
    at = datetime(2031, 3, 28, 18, 0, tzinfo=_ZONES[zone]) + timedelta(days=rung)
    return BreakInSession(reed=reed, player="Ann", rung=rung, starts=at, minutes=minutes)


def _bytes(sessions: list[BreakInSession], **told: object) -> bytes:
    pytest.importorskip("icalendar", reason="the extra `calendar` is not installed")
    return calendar_bytes(sessions, **{"plan": "season", "made": _MADE, "revision": 1, **told})  # type: ignore[arg-type]


@given(
    st.lists(
        st.tuples(
            st.integers(1, 9),
            st.integers(0, 2),
            st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=90),
        ),
        min_size=1,
        max_size=4,
        unique=True,
    )
)
def test_every_session_is_read_back_at_its_instant_with_its_words(
    asked: list[tuple[int, int, str]],
) -> None:
    sessions = [_session(rung, zone=zone, reed=reed) for rung, zone, reed in asked]
    calendar = read_strictly(_bytes(sessions))
    found = sorted(
        (instant(calendar, one, "DTSTART"), instant(calendar, one, "DTEND"), text_of(one.one("SUMMARY")))
        for one in events(calendar)
    )
    assert found == sorted(
        (
            one.starts.astimezone(UTC),
            one.starts.astimezone(UTC) + timedelta(minutes=15),
            f"Reed {one.reed}: 15 min (Ann)",
        )
        for one in sessions
    )


def test_another_parser_reads_the_same() -> None:
    vobject = pytest.importorskip("vobject", reason="not installed")
    sessions = [_session(rung, zone=zone) for rung in range(1, 5) for zone in (0, 1)]
    calendar = vobject.readOne(_bytes(sessions).decode("utf-8"))
    read = sorted((one.dtstart.value.astimezone(UTC), one.uid.value) for one in calendar.vevent_list)
    assert read == sorted((one.starts.astimezone(UTC), session_uid("season", one)) for one in sessions)


def test_a_session_that_is_moved_keeps_its_name_and_has_a_higher_sequence() -> None:
    before = _session(3)
    after = replace(before, starts=before.starts + timedelta(days=2), minutes=10.0, player="Bea")
    files = [read_strictly(_bytes([before])), read_strictly(_bytes([after], revision=2))]
    (old,), (new,) = (events(one) for one in files)
    assert old.one("UID") == new.one("UID")
    assert (old.one("SEQUENCE"), new.one("SEQUENCE")) == ("1", "2")
    others = {
        session_uid("season", _session(4)),
        session_uid("season", _session(3, reed="8")),
        session_uid("x", before),
    }
    assert old.one("UID") not in others
    assert len(others) == 3


def test_sessions_that_are_no_more_are_cancelled_and_those_that_are_still_there_are_not() -> None:
    calendar = read_strictly(_bytes([_session(1)], cancelled=[_session(1), _session(2)], revision=2))
    assert sorted(one.one("STATUS") for one in events(calendar)) == ["CANCELLED", "CONFIRMED"]


def test_the_same_plan_gives_the_same_bytes_and_nobody_is_told_of_a_machine() -> None:
    sessions = [_session(rung) for rung in (3, 1, 2)]
    assert _bytes(sessions) == _bytes(sorted(sessions, key=lambda one: one.rung))
    assert b"@" not in _bytes(sessions)


def _starts(raw: bytes) -> list[datetime]:
    calendar = read_strictly(raw)
    return [instant(calendar, one, "DTSTART") for one in events(calendar)]


@pytest.mark.parametrize(
    "broken",
    [
        lambda raw: raw.replace(b"\r\n", b"\n"),
        lambda raw: raw.replace(b"\r\n ", b""),
        lambda raw: raw.replace(b"UID:", b"UIDS:", 1),
        lambda raw: raw.replace(b"END:VEVENT\r\n", b"", 1),
        lambda raw: raw.replace(b"VERSION:2.0", b"VERSION:1.0"),
        lambda raw: raw.replace(b"DTSTART;TZID=Europe/Dublin:", b"DTSTART;TZID=Europe/Dub:lin", 1),
    ],
)
def test_control_a_file_that_is_no_calendar_is_refused(broken: object) -> None:
    raw = _bytes([_session(1, reed="7" * 80)])
    assert _starts(raw) == [_session(1).starts]
    assert callable(broken)
    with pytest.raises((AssertionError, ValueError), match=r"\d\.\d|unpack"):
        _starts(broken(raw))


def test_control_a_zone_that_lies_is_seen() -> None:
    raw = _bytes([_session(4)]).replace(b"TZOFFSETTO:+0100", b"TZOFFSETTO:+0200")
    calendar = read_strictly(raw)
    (event,) = events(calendar)
    assert instant(calendar, event, "DTSTART") != _session(4).starts.astimezone(UTC)


def test_without_the_extra_it_says_what_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "icalendar", None)
    with pytest.raises(InputError, match=r"canebench\[calendar\]"):
        calendar_bytes([_session(1)], plan="season", made=_MADE, revision=0)


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"plan": " "}, "name of the plan"),
        ({"made": datetime(2031, 1, 1)}, "time it was made"),
        ({"revision": -1}, "revision"),
    ],
)
def test_what_cannot_be_is_refused(told: dict[str, object], field: str) -> None:
    with pytest.raises(InputError, match=field):
        _bytes([_session(1)], **told)
