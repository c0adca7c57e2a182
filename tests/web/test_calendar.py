"""The plan of breaking in on its page: the command's plan and words, by weeks, as a sheet and as a file."""

from __future__ import annotations

import html
import pickle
import re
import time
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import pytest

from canebench.bench.acts.band import settle
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.ahead import calendar as views
from canebench.bench.views.ahead.calendar import Wanted, calendar
from canebench.bench.views.ahead.calendar_weeks import weeks_of
from canebench.bench.views.ahead.calendar_words import chance_of_need, plan_said
from canebench.reeds.breaking_in import plan
from canebench.reeds.forecasts.forecast import forecasts
from canebench.web.live.workers import Workers
from canebench.web.routes.ahead import calendar as routes
from support.strict_calendar import events, instant, read_strictly, text_of
from support.web_client import closed_up

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from canebench.store.ledger import Ledger

_WHO = "tester"
#: So far ahead that a reed nobody has read makes it.
_FAR = 230
_ZONE = ZoneInfo("Europe/London")


def _by(days: int = _FAR) -> date:
    return datetime.now(tz=_ZONE).date() + timedelta(days=days)


def _sent(thing: Any) -> Any:
    return pickle.loads(pickle.dumps(thing))  # noqa: S301 - our own, made a moment ago


def _asked(**told: object) -> str:
    return urlencode({"by": _by().isoformat(), "minutes": 40} | told, doseq=True)


def _read(client: TestClient, path: str, status: int = 200) -> str:
    answer = client.get(path)
    assert answer.status_code == status
    return html.unescape(closed_up(answer.text))


@pytest.fixture
def ledger(empty_app: Starlette) -> Ledger:
    """Three reeds, two players."""
    made: Ledger = empty_app.state.context.ledger
    settle(made, {"name": "Ellerquay", "zone": str(_ZONE)}, who=_WHO)
    take_in_lot(made, who=_WHO, name="spring", count=3)
    for name in ("Isla", "<b>Effie</b>"):
        set_player(made, name, who=_WHO, blows="28 inH2O")
    return made


def test_the_page_has_the_plan_and_the_words_of_the_command(ledger: Ledger, empty_client: TestClient) -> None:
    wanted = Wanted(by=_by(), need=2, minutes=40.0)
    found = calendar(ledger, wanted)
    page = _read(empty_client, f"/calendar?{_asked(need=2)}")
    for said in plan_said(found):
        assert said in page
    chance = chance_of_need(found)
    assert chance is not None
    # By hand: at least two of three, each for itself.
    one, two, three = found.chances
    by_hand = one * two * three + one * two * (1 - three) + one * (1 - two) * three + (1 - one) * two * three
    assert chance == pytest.approx(by_hand)
    assert f"2 settled reeds by {_by()}: a chance of {100 * by_hand:.0f} %." in page
    # Every session stands under its day: as many, and as many minutes.
    told = re.findall(r'Reed (\d+)</a><span class="number">(\d+) min</span>', page)
    planned = [(one.reed, f"{one.minutes:g}") for day in found.days.values() for one in day]
    assert sorted(told) == sorted(planned)
    assert "common practice, no source" in page
    assert "an estimate" in page
    # The control: without a number needed none is told.
    assert "a chance of" not in _read(empty_client, f"/calendar?{_asked()}").replace("with a chance of", "")


def test_weeks_run_from_monday_and_hold_every_session_once(ledger: Ledger) -> None:
    found = calendar(ledger, Wanted(by=_by(), minutes=40.0))
    weeks = weeks_of(found)
    assert all(week.first.weekday() == 0 and len(week.days) == 7 for week in weeks)
    assert all(after.first - before.first == timedelta(days=7) for before, after in pairwise(weeks))
    held = [one for week in weeks for one in week.sessions]
    assert sorted(held, key=str) == sorted((one for day in found.days.values() for one in day), key=str)
    for week in weeks:
        assert sum(one or 0.0 for row in week.rows for one in row.minutes) == sum(
            one.minutes for one in week.sessions
        )
        for day in week.days:
            assert all(one.starts.date() == day.day for _, own in day.players for one in own)


def test_who_and_which_are_as_asked_and_a_name_is_no_markup(ledger: Ledger, empty_client: TestClient) -> None:
    del ledger
    text = empty_client.get(f"/calendar?{_asked(player='Isla', reed='2, 3')}").text
    page = closed_up(text)
    assert set(re.findall(r"<dt>([^<]+)</dt><dd><a", page)) == {"Isla"}
    assert set(re.findall(r"Reed (\d+)</a>", page)) == {"2", "3"}
    assert 'value="2, 3"' in page
    assert re.search(r'value="Isla" checked', page)
    assert "<b>Effie" not in text
    assert "&lt;b&gt;Effie" in text


def test_a_weeks_sheet_has_a_row_a_reed_a_column_a_day_and_room_to_write(
    ledger: Ledger, empty_client: TestClient
) -> None:
    week = weeks_of(calendar(ledger, Wanted(by=_by(), minutes=40.0)))[1]
    page = _read(empty_client, f"/calendar/sheet?{_asked(week=week.days[3].day)}")
    assert f"<strong>Ellerquay</strong><span>Break-in, {week.said} · " in page
    columns = re.findall(r'scope="col">([^<]+)</th>', page)
    assert columns == ["Reed", *(day.said for day in week.days)]
    rows = re.findall(r"<tr><th scope=\"row\">(.*?)</tr>", page)
    assert [re.search(r">(\d+)</a>", row)[1] for row in rows] == [row.reed for row in week.rows]  # type: ignore[index]
    for row, planned in zip(rows, week.rows, strict=True):
        cells = re.findall(r"<td>(.*?)</td>", row)
        told = [re.search(r"(\d+) min", cell) for cell in cells]
        assert [None if one is None else float(one[1]) for one in told] == list(planned.minutes)
        assert row.count('class="box"') == row.count('class="line"') == len([one for one in told if one])
    # The way back asks the same; the first week has none before it.
    assert f'href="/calendar?{_asked(starts="18:00")}"' in page
    assert "The week before" in page
    assert "The week before" not in _read(empty_client, f"/calendar/sheet?{_asked()}")


def test_the_file_holds_what_the_page_does(ledger: Ledger, empty_client: TestClient) -> None:
    pytest.importorskip("icalendar", reason="the extra `calendar` is not installed")
    link = re.search(r'href="(/calendar\.ics\?[^"]+)"', empty_client.get(f"/calendar?{_asked()}").text)
    assert link is not None
    answer = empty_client.get(html.unescape(link[1]))
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert ".ics" in answer.headers["content-disposition"]
    file = read_strictly(answer.content)
    told = {
        (instant(file, one, "DTSTART"), instant(file, one, "DTEND"), text_of(one.one("SUMMARY")))
        for one in events(file)
    }
    found = calendar(ledger, Wanted(by=_by(), minutes=40.0))
    sessions = [one for day in found.days.values() for one in day]
    assert told == {
        (
            one.starts.astimezone(UTC),
            one.starts.astimezone(UTC) + timedelta(minutes=one.minutes),
            f"Reed {one.reed}: {one.minutes:g} min ({one.player})",
        )
        for one in sessions
    }
    # The control: another question has another file.
    other = read_strictly(empty_client.get(f"/calendar.ics?{_asked(reed='2')}").content)
    assert 0 < len(events(other)) < len(sessions)


@pytest.mark.parametrize(
    ("told", "status", "said", "field"),
    [
        ({"by": "2020-01-01"}, 422, "Nearest that works: {tomorrow}", "by"),
        ({"by": "2099-01-01"}, 422, "Nearest that works: {last}", "by"),
        ({"by": "soon"}, 422, "a date is needed. Nearest that works: {usual}", "by"),
        ({"need": "0"}, 422, "1 to 3. Nearest that works: 1", "need"),
        ({"need": "9"}, 422, "1 to 3. Nearest that works: 3", "need"),
        ({"need": "some"}, 422, "settled reeds needed", "need"),
        ({"minutes": "-5"}, 422, "Nearest that works: 5 min", "minutes"),
        ({"minutes": "0"}, 422, "from 1 to 240 min", "minutes"),
        ({"starts": "late"}, 422, "Nearest that works: 18:00", "starts"),
        ({"player": "Isle"}, 404, "There are: Isla", ""),
        ({"reed": "77"}, 404, "no reed 77", ""),
    ],
)
def test_what_will_not_do_is_said_beside_what_was_typed(
    ledger: Ledger, empty_client: TestClient, told: dict[str, str], status: int, said: str, field: str
) -> None:
    del ledger
    page = _read(empty_client, f"/calendar?{_asked(**told)}", status)
    days = {"tomorrow": _by(1), "last": _by(250), "usual": _by(56)}
    (problem,) = re.findall(r'<p class="problem"[^>]*>(.*?)</p>', page)
    assert said.format(**days) in problem
    assert "How sure it is" not in page
    (typed,) = told.values()
    assert f'value="{typed}"' in page or "player" in told
    marked = re.findall(r'id="plan-([a-z]+)"[^>]*aria-invalid="true"', page)
    assert marked == ([field] if field else [])
    assert (f'href="#plan-{field}"' in page) == bool(field)
    # Neither paper nor file is made of it.
    assert empty_client.get(f"/calendar/sheet?{_asked(**told)}").status_code == status
    assert empty_client.get(f"/calendar.ics?{_asked(**told)}").status_code == status


def test_a_week_that_the_plan_has_not_is_told_with_the_nearest(
    ledger: Ledger, empty_client: TestClient
) -> None:
    weeks = weeks_of(calendar(ledger, Wanted(by=_by(), minutes=40.0)))
    for week, nearest in (("2020-01-01", weeks[0]), ("2099-01-01", weeks[-1])):
        page = _read(empty_client, f"/calendar/sheet?{_asked(week=week)}", 422)
        assert f"Nearest that works: {nearest.first}" in page
    assert "a date is needed" in _read(empty_client, f"/calendar/sheet?{_asked(week='next')}", 422)


def test_an_empty_ledger_says_what_is_missing_and_where(
    empty_client: TestClient, empty_app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: Ledger = empty_app.state.context.ledger
    page = _read(empty_client, "/calendar")
    assert '<a href="/lots">Begin a box</a>' in page
    take_in_lot(made, who=_WHO, name="spring", count=1)
    page = _read(empty_client, "/calendar")
    assert '<a href="/players">Add a player</a>' in page
    assert "Begin a box" not in page
    set_player(made, "Isla", who=_WHO)
    assert "Reed by reed" in _read(empty_client, "/calendar")
    # Away from Greenwich a plan needs the name of a zone.
    monkeypatch.setenv("TZ", "Asia/Kathmandu")
    time.tzset()
    try:
        assert '<a href="/settings">Settle the time zone</a>' in _read(empty_client, "/calendar")
    finally:
        monkeypatch.undo()
        time.tzset()


def test_a_late_plan_says_what_to_do(ledger: Ledger, empty_client: TestClient) -> None:
    move_reed(ledger, "3", to="set aside", reason="cracked", who=_WHO)
    page = _read(empty_client, f"/calendar?{_asked(by=_by(10).isoformat(), need=2)}")
    assert "2 settled reeds" in page
    assert "a chance of 0 %" in page
    assert "Too few: 3 reeds, each 80 % sure, would make 2, 80 % sure; 0 make it. Plan anew with" in page
    assert "too late:" in page
    assert "More minutes a day (each up to 80) do not help" in page
    assert "A week’s sheet" not in page
    # Of reeds that nobody read one in two or three is counted on. The control: a rule that all soon meet.
    assert "Too few" in _read(empty_client, f"/calendar?{_asked(need=1)}")
    settle(ledger, {"settled_onset": "15 inH2O", "settled_low_a": "90"}, who=_WHO)
    assert "Too few" not in _read(empty_client, f"/calendar?{_asked(need=1)}")


@pytest.mark.usefixtures("ledger")
def test_more_reeds_than_a_plan_may_have_are_refused_before_they_are_foretold(
    empty_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    foretold: list[int] = []

    def counted(reeds: list[object], **told: Any) -> object:
        foretold.append(len(reeds))
        return forecasts(reeds, **told)  # type: ignore[arg-type]

    monkeypatch.setattr(views, "forecasts", counted)
    monkeypatch.setattr(plan, "_MOST_REEDS", 2)
    for told in ({}, {"reed": "1, 2, 3"}):
        page = _read(empty_client, f"/calendar?{_asked(**told)}", 422)
        (problem,) = re.findall(r'<p class="problem"[^>]*>(.*?)</p>', page)
        assert "2 at the most in one plan: name some" in problem
        assert re.findall(r'id="plan-([a-z]+)"[^>]*aria-invalid="true"', page) == ["reed"]
    assert foretold == []
    # The control: as many as it may have.
    assert "Reed by reed" in _read(empty_client, f"/calendar?{_asked(reed='1, 2')}")
    assert foretold == [2]


@pytest.mark.usefixtures("ledger")
def test_a_plan_of_many_reeds_is_made_aside(
    empty_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []

    def aside(_: Workers, call: Callable[..., object], *given: object) -> object:
        asked.append(given)
        # As it goes to another process and comes back from it.
        there, what = _sent((call, given))
        return _sent(there(*what))

    monkeypatch.setattr(Workers, "aside", aside)
    here = empty_client.get(f"/calendar?{_asked()}").text
    assert asked == []
    monkeypatch.setattr(routes, "_FEW", 2)
    assert empty_client.get(f"/calendar?{_asked()}").text == here
    assert empty_client.get(f"/calendar?{_asked(need='9')}").status_code == 422
    assert len(asked) == 2
    # The control: two of them are few.
    empty_client.get(f"/calendar?{_asked(reed='1,2')}")
    assert len(asked) == 2


@pytest.mark.parametrize("path", ["/", "/reeds"])
def test_where_it_is_found(client: TestClient, path: str) -> None:
    assert 'href="/calendar"' in client.get(path).text


def test_sessions_of_ones_own_stay_in_every_address(client: TestClient) -> None:
    page = _read(client, "/calendar?" + _asked(sessions="4, 6, 9", rest="24"))
    assert "4, 6, 9 minutes, then as long as the last" in page
    assert page.count("as told for this plan") == 2
    assert page.count("sessions=4%2C+6%2C+9&rest=24") >= 2
    # The control: as usual they are marked, and no address speaks of them.
    usual = _read(client, "/calendar?" + _asked())
    assert "common practice, no source; the minutes: an estimate" in usual
    assert "sessions=" not in usual
    wrong = _read(client, "/calendar?" + _asked(sessions="9, 4"), status=422)
    assert "session 2 of the ladder" in wrong
    assert 'href="#plan-sessions"' in wrong
