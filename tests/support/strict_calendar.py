"""A strict reader of calendar files, written from RFC 5545 alone: it refuses what that does not allow."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

_LINE = re.compile(r'^([A-Z0-9-]+)((?:;[A-Z0-9-]+=(?:"[^"\x00-\x1f]*"|[^";:,\x00-\x1f]*))*):(.*)$', re.DOTALL)
_TIME = re.compile(r"^(\d{8}T\d{6})(Z?)$")
_OFFSET = re.compile(r"^([+-])(\d\d)(\d\d)$")
#: 3.6.1: once at the most, and needed.
_EVENT_NEEDS = ("UID", "DTSTAMP", "DTSTART")
_EVENT_ONCE = (*_EVENT_NEEDS, "DTEND", "SEQUENCE", "SUMMARY", "DESCRIPTION", "STATUS")


@dataclass(slots=True)
class Component:
    """What stands between BEGIN and END."""

    name: str
    lines: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    parts: list[Component] = field(default_factory=list)

    def values(self, name: str) -> list[str]:
        """What every line of that name holds."""
        return [value for own, _, value in self.lines if own == name]

    def one(self, name: str) -> str:
        """What the only line of that name holds."""
        (found,) = self.values(name)
        return found


def read_strictly(raw: bytes) -> Component:
    """The calendar in a file; an AssertionError for what the standard forbids."""
    assert raw.endswith(b"\r\n"), "3.1: each line ends with CRLF"
    lines = raw[:-2].split(b"\r\n")
    assert all(b"\n" not in line and b"\r" not in line for line in lines), "3.1: CRLF alone parts lines"
    assert all(len(line) <= 75 for line in lines), "3.1: 75 octets at the most"
    unfolded: list[bytes] = []
    for line in lines:
        if line.startswith((b" ", b"\t")):
            unfolded[-1] += line[1:]
        else:
            unfolded.append(line)
    top = Component("")
    open_parts = [top]
    for line in unfolded:
        found = _LINE.match(line.decode("utf-8"))
        assert found, f"3.1: no content line: {line!r}"
        name, told, value = found.groups()
        if name == "BEGIN":
            part = Component(value)
            open_parts[-1].parts.append(part)
            open_parts.append(part)
        elif name == "END":
            assert open_parts.pop().name == value, "3.4: BEGIN and END"
        else:
            pairs = dict(one.split("=", 1) for one in told.split(";")[1:])
            open_parts[-1].lines.append((name, pairs, value))
    assert open_parts == [top], "3.4: BEGIN and END"
    (calendar,) = top.parts
    assert calendar.name == "VCALENDAR"
    assert (len(calendar.values("PRODID")), calendar.values("VERSION")) == (1, ["2.0"]), "3.6"
    assert calendar.parts, "3.6: one component at the least"
    for event in events(calendar):
        assert all(len(event.values(name)) == 1 for name in _EVENT_NEEDS), "3.6.1"
        assert all(len(event.values(name)) <= 1 for name in _EVENT_ONCE), "3.6.1"
    return calendar


def events(calendar: Component) -> list[Component]:
    return [part for part in calendar.parts if part.name == "VEVENT"]


def text_of(value: str) -> str:
    """3.3.11: what stands behind the backslashes."""
    assert not re.search(r"(?<!\\)(?:\\\\)*[,;]", value), "3.3.11: commas and semicolons are escaped"
    return re.sub(r"\\([\\;,nN])", lambda m: "\n" if m[1] in "nN" else m[1], value)


def instant(calendar: Component, event: Component, name: str) -> datetime:
    """A time of an event in UTC, by the file's own zones."""
    ((pairs, value),) = [(told, given) for own, told, given in event.lines if own == name]
    found = _TIME.match(value)
    assert found, "3.3.5"
    local = datetime.strptime(found[1], "%Y%m%dT%H%M%S")
    if found[2]:
        assert "TZID" not in pairs, "3.2.19: none on a time in UTC"
        return local.replace(tzinfo=UTC)
    (zone,) = [
        part for part in calendar.parts if part.name == "VTIMEZONE" and part.one("TZID") == pairs["TZID"]
    ]
    # 3.6.5: the offset of the last change before it, each given on the clock as it was before that change.
    changes = []
    for part in zone.parts:
        told = [part.one("DTSTART"), *(one for line in part.values("RDATE") for one in line.split(","))]
        assert not part.values("RRULE"), "this reader knows listed changes only"
        changes += [(datetime.strptime(at, "%Y%m%dT%H%M%S"), _offset(part.one("TZOFFSETTO"))) for at in told]
    return local.replace(tzinfo=timezone(max(one for one in changes if one[0] <= local)[1])).astimezone(UTC)


def _offset(value: str) -> timedelta:
    found = _OFFSET.match(value)
    assert found, "3.3.14"
    span = timedelta(hours=int(found[2]), minutes=int(found[3]))
    return -span if found[1] == "-" else span
