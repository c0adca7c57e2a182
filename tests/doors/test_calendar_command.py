"""Who breaks in which reed when: from the ledger's reeds, players, mouths and minutes; as a file too."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import icalendar
import pytest

from canebench.base.errors import InputError
from canebench.bench.acts.band import settle
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import log_strength, play_reed, rest_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.ahead.calendar import Wanted, calendar, write_ics
from canebench.store.ledger import Ledger, open_ledger
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.views.ahead.calendar import Calendar
    from support.ledgers import Clock

_WHO = "tester"
#: So long that a reed nobody has read makes it.
_BY = date(2026, 10, 20)


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Three reeds, two players."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=3)
    for name in ("Isla", "Effie"):
        set_player(made, name, who=_WHO, blows="28 inH2O")
    return made


def _sessions(found: Calendar) -> list[tuple[datetime, float, str, str]]:
    return [(one.starts, one.minutes, one.player, one.reed) for day in found.days.values() for one in day]


def test_every_reed_has_one_mouth_short_first_sessions_and_rests(ledger: Ledger) -> None:
    found = calendar(ledger, Wanted(by=_BY, minutes=40.0))
    sessions = _sessions(found)
    assert {reed for *_, reed in sessions} == {"1", "2", "3"}
    for number in "123":
        own = [one for one in sessions if one[3] == number]
        assert len({player for _, _, player, _ in own}) == 1
        assert own[0][1] == 5.0
        assert [one[1] for one in own] == sorted(one[1] for one in own)
        for (before, minutes, *_), (after, *_) in pairwise(own):
            assert after - before >= timedelta(hours=20, minutes=minutes)
    for day, those in found.days.items():
        for name in ("Isla", "Effie"):
            assert sum(one.minutes for one in those if one.player == name) <= 40.0, day


def test_a_box_that_nobody_has_played_gets_its_weeks_and_says_how_sure_they_are(
    ledger: Ledger, clock: Clock
) -> None:
    """Eight weeks are four times what practice takes. Controls: five days; a rule that all meet."""
    for number in "123":
        log_strength(ledger, number, {"playing": "27 inH2O"}, who=_WHO)
    weeks = calendar(ledger, Wanted(by=(clock() + timedelta(weeks=8)).date(), minutes=40.0))
    assert {one.reed for one in weeks.plan.reeds} == {"1", "2", "3"}
    assert all(0.2 < chance < 0.8 for chance in weeks.chances)
    assert "each with a chance of 80%" not in weeks.late.said[0]
    assert calendar(ledger, Wanted(by=(clock() + timedelta(days=5)).date())).plan.reeds == ()
    settle(ledger, {"settled_onset": "15 inH2O", "settled_low_a": "90"}, who=_WHO)
    surer = calendar(ledger, Wanted(by=(clock() + timedelta(weeks=8)).date(), minutes=40.0))
    assert all(chance >= 0.8 for chance in surer.chances)


def test_what_was_played_and_who_may_not_is_in_it(ledger: Ledger, clock: Clock) -> None:
    for _ in range(3):
        play_reed(ledger, "1", minutes=5.0, who=_WHO)
        clock.pass_days(1)
    rest_reed(ledger, "2", player="Effie", who=_WHO, rest_h=24.0 * 12)
    move_reed(ledger, "3", to="set aside", reason="cracked", who=_WHO)
    found = calendar(ledger, Wanted(by=_BY, minutes=40.0, players=("Isla",)))
    sessions = _sessions(found)
    assert {reed for *_, reed in sessions} == {"1", "2"}
    assert next(minutes for _, minutes, _, reed in sessions if reed == "1") == 8.0
    first = next(starts for starts, *_, reed in sessions if reed == "2")
    assert first >= datetime(2026, 3, 16, tzinfo=UTC)
    # The control: whose mouth it was in need not wait.
    own = _sessions(calendar(ledger, Wanted(by=_BY, minutes=40.0, players=("Effie",), reeds=("2",))))
    assert own[0][0] < datetime(2026, 3, 8, tzinfo=UTC)


def test_the_file_holds_what_is_planned(ledger: Ledger, tmp_path: Path) -> None:
    found = calendar(ledger, Wanted(by=_BY, minutes=25.0))
    write_ics(found, tmp_path / "reeds.ics")
    read = icalendar.Calendar.from_ical((tmp_path / "reeds.ics").read_bytes())
    events = sorted(event.decoded("DTSTART") for event in read.walk("VEVENT"))
    assert events == sorted(starts for starts, *_ in _sessions(found))


def test_the_command_says_it_in_words_and_json(ledger: Ledger, tmp_path: Path) -> None:
    del ledger
    at = ["--ledger", str(tmp_path / "ledger.db")]
    by = (datetime.now(tz=UTC).date() + timedelta(days=230)).isoformat()
    run("settings", "--zone", "Europe/London", *at)
    said = run("calendar", "--by", by, "--minutes", "40", *at)
    assert said.exit_code == 0
    assert "3 of 3 reeds can be settled" in said.output
    told = json.loads(run("calendar", "--by", by, "--player", "Isla", "--json", *at).output)
    assert {one["player"] for one in told["sessions"]} == {"Isla"}
    assert datetime.fromisoformat(told["sessions"][0]["starts"]).hour == 18


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--by", "soon"), 4, "a date is needed"),
        (("--by", "2020-01-01"), 4, "from tomorrow"),
        (("--by", "2099-01-01"), 4, "from tomorrow"),
        (("--minutes", "-5"), 4, "minutes a day"),
        (("--minutes", "0"), 4, "from 1 to 240 min"),
        (("--need", "0"), 4, "1 to 3. Nearest that works: 1."),
        (("--need", "4"), 4, "1 to 3. Nearest that works: 3."),
        (("--starts", "late"), 4, "a time of day"),
        (("--reed", "77"), 5, "no reed 77"),
        (("--player", "Isle"), 5, "Isla"),
    ],
)
def test_what_will_not_do_is_said(
    ledger: Ledger, tmp_path: Path, arguments: tuple[str, ...], code: int, said: str
) -> None:
    del ledger
    by = (
        ()
        if "--by" in arguments
        else ("--by", (datetime.now(tz=UTC).date() + timedelta(days=60)).isoformat())
    )
    result = run("calendar", *by, *arguments, "--ledger", str(tmp_path / "ledger.db"))
    assert result.exit_code == code
    assert said in result.stderr


def test_without_reeds_or_players_it_says_what_is_needed(tmp_path: Path, clock: Clock) -> None:
    bare = open_ledger(str(tmp_path / "bare.db"), clock=clock)
    set_player(bare, "Isla", who=_WHO)
    with pytest.raises(InputError, match="reeds to break in"):
        calendar(bare, Wanted(by=_BY))
    take_in_lot(bare, who=_WHO, name="spring", count=1)
    assert calendar(bare, Wanted(by=_BY, minutes=40.0)).days
    other = open_ledger(str(tmp_path / "other.db"), clock=clock)
    take_in_lot(other, who=_WHO, name="spring", count=1)
    with pytest.raises(InputError, match="canebench player NAME"):
        calendar(other, Wanted(by=_BY))


def test_sessions_and_rests_may_be_ones_own(ledger: Ledger, tmp_path: Path) -> None:
    at = f"{tmp_path}/ledger.db"
    by = (datetime.now(UTC) + timedelta(days=230)).date().isoformat()
    asked = ("calendar", "--by", by, "--minutes", "40", "--reed", "1", "--json", "--ledger", at)

    def told(*more: str) -> tuple[list[float], timedelta]:
        sessions = json.loads(run(*asked, *more).stdout)["sessions"]
        starts = [datetime.fromisoformat(one["starts"]) for one in sessions]
        return [one["minutes"] for one in sessions], min(b - a for a, b in pairwise(starts))

    minutes, apart = told("--sessions", "4, 6, 9, 20", "--rest", "44")
    assert minutes[:4] == [4.0, 6.0, 9.0, 20.0]
    assert set(minutes[4:]) == {20.0}
    assert apart >= timedelta(hours=44)
    # The control: as usual it begins with five, and every day.
    usual, every_day = told()
    assert usual[:4] == [5.0, 5.0, 5.0, 8.0]
    assert every_day == timedelta(days=1)
    assert ledger is not None
