"""What cannot be planned or cannot have been played is an error by its field, with the nearest that can."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.errors import InputError
from canebench.reeds.breaking_in.chances import StillToPlay
from canebench.reeds.breaking_in.ladder import Ladder
from canebench.reeds.breaking_in.people import MouthBefore, PlayerTime, ReedToBreakIn
from canebench.reeds.breaking_in.plan import plan_breaking_in
from canebench.reeds.breaking_in.played_log import PlayedTotal, check_local, check_played

if TYPE_CHECKING:
    from collections.abc import Callable

_NOW = datetime(2031, 6, 1, 6, 0, tzinfo=UTC)
_WEEK = (20.0,) * 7


def _person(**told: Any) -> PlayerTime:
    return PlayerTime(**{"name": "Ann", "minutes": _WEEK, "zone": "Europe/Dublin", **told})


def _reed(**told: Any) -> ReedToBreakIn:
    return ReedToBreakIn(**{"number": "7", "still": StillToPlay(median_min=60.0), **told})


def _plan(people: list[PlayerTime], reeds: list[ReedToBreakIn], **told: Any) -> object:
    return plan_breaking_in(people, reeds, **{"now": _NOW, "settled_by": date(2031, 6, 20), **told})


def _played(*totals: tuple[datetime, float], reed: str = "7") -> None:
    check_played([PlayedTotal(reed=reed, at=at, total_min=total) for at, total in totals], now=_NOW)


_AT = datetime(2031, 5, 1, 18, 0, tzinfo=UTC)
_DUBLIN_SPRING = datetime(2031, 3, 30, 0, 30, tzinfo=timezone(timedelta(0)))


@pytest.mark.parametrize(
    ("refused", "field", "nearest"),
    [
        (lambda: Ladder(minutes=()), "ladder", None),
        (lambda: Ladder(minutes=(5, 4)), "session 2 of the ladder", "5 min"),
        (lambda: Ladder(minutes=(5, 50)), "session 2 of the ladder", "20 min"),
        (lambda: Ladder(minutes=(0.25,)), "session 1 of the ladder", "15 min, if that was hours"),
        (lambda: Ladder(minutes=(900.0,)), "session 1 of the ladder", "15 min, if that was seconds"),
        (lambda: Ladder(minutes=(float("nan"),)), "session 1 of the ladder", None),
        (lambda: Ladder(rest_h=-20.0), "rest after a session", "20 h, without the minus sign"),
        (lambda: Ladder(rest_h=1200.0), "rest after a session", "20 h, if that was minutes"),
        (lambda: _person(minutes=(20.0,) * 5), "minutes of Ann", None),
        (
            lambda: _person(minutes=(-20.0, *_WEEK[1:])),
            "minutes of Ann on Monday",
            "20 min, without the minus sign",
        ),
        (
            lambda: _person(minutes=(*_WEEK[1:], 1800.0)),
            "minutes of Ann on Sunday",
            "30 min, if that was seconds",
        ),
        (lambda: _person(ceiling_min=15.0), "minutes of Ann", "15 min"),
        (lambda: _person(zone="Europe/Dubln"), "time zone", "Europe/Dublin"),
        (lambda: _person(zone="../etc/passwd"), "time zone", "Europe/London"),
        (lambda: _person(starts=time(18, 0, tzinfo=UTC)), "start of Ann", "18:00"),
        (lambda: _person(wanted=3, reeds=2), "most reeds of a player", "3"),
        (lambda: _person(sessions_a_day=0), "sessions a day", "1"),
        (lambda: _person(name=" "), "player", None),
        (lambda: _reed(had=-1), "sessions of reed 7", "0"),
        (lambda: _reed(had=2.5), "sessions of reed 7", "2"),
        (
            lambda: _reed(played_until=datetime(2031, 5, 1)),
            "last session of reed 7",
            "2031-05-04T18:30+01:00",
        ),
        (
            lambda: MouthBefore(player="Bea", until=datetime(2031, 5, 1)),
            "end of the rest",
            "2031-05-04T18:30+01:00",
        ),
        (lambda: StillToPlay(median_min=-3.0), "minutes still to play", "0"),
        (lambda: StillToPlay(median_min=60.0, log_sd=4.0), "spread of the minutes still to play", "3"),
        (lambda: StillToPlay(median_min=60.0, never=1.5), "chance that it never settles", "1"),
        (lambda: StillToPlay(curve=((3.0, float("nan")),)), "chance that it has settled", None),
        (lambda: StillToPlay(curve=((3.0, 0.5), (3.0, 0.6))), "minutes still to play", "6000"),
        (lambda: StillToPlay(curve=((3.0, 0.5), (4.0, 0.4))), "chance that it has settled", "1"),
        (lambda: _plan([], []), "players", None),
        (lambda: _plan([_person(), _person()], []), "player", "Ann-2 for the other"),
        (lambda: _plan([_person()], [_reed(), _reed()]), "reed", "7-2 for the other"),
        (lambda: _plan([_person()], [_reed(player="An")]), "player of reed 7", "Ann"),
        (lambda: _plan([_person()], [], settled_by=date(2031, 6, 1)), "date to be settled by", "2031-06-02"),
        (lambda: _plan([_person()], [], settled_by=date(2099, 6, 1)), "date to be settled by", "2032-02-06"),
        (lambda: _plan([_person()], [], now=datetime(2031, 6, 1)), "now", "2031-05-04T18:30+01:00"),
        (lambda: _plan([_person()], [], sure=80.0), "how sure", "0.8, if that was per cent"),
        (
            lambda: _played((_AT, 60.0), (_AT + timedelta(days=1), 15.0)),
            "minutes of reed 7",
            "75 min, if that was the session alone",
        ),
        (
            lambda: _played((_AT, 60.0), (_AT, 90.0)),
            "minutes of reed 7",
            "another number for one of them, or 90 min for both",
        ),
        (
            lambda: _played((_AT, 60.0), (_AT + timedelta(minutes=20), 95.0)),
            "minutes of reed 7",
            "80 min in all",
        ),
        (lambda: _played((_NOW + timedelta(days=1), 60.0)), "time of reed 7", "2031-06-01T06:00+00:00"),
        (lambda: _played((_AT, -60.0)), "minutes of reed 7", "60 min, without the minus sign"),
        (
            lambda: check_local("Europe/Dublin", datetime(2031, 3, 30, 1, 30)),
            "time on the clock",
            "2031-03-30 02:30",
        ),
        (lambda: check_local("Europe/Dublin", _AT), "time on the clock", "2031-05-01T18:00"),
    ],
)
def test_what_cannot_be_is_refused_by_field(
    refused: Callable[[], object], field: str, nearest: str | None
) -> None:
    with pytest.raises(InputError, match="was given") as caught:
        refused()
    assert caught.value.field == field
    assert caught.value.nearest == nearest


def test_an_hour_that_a_clock_skips_is_not_played_in() -> None:
    """From half past midnight to half past two on the clock is one hour there, in true minutes 60."""
    before = check_local("Europe/Dublin", datetime(2031, 3, 30, 0, 30))
    after = check_local("Europe/Dublin", datetime(2031, 3, 30, 2, 30))
    _played((before, 0.0), (after, 60.0))
    with pytest.raises(InputError, match="61 min more within 60 min"):
        _played((before, 0.0), (after, 61.0))


def test_the_second_of_two_like_hours_is_one_later() -> None:
    """In autumn half past one comes twice; `fold` tells which."""
    first = check_local("Europe/Dublin", datetime(2031, 10, 26, 1, 30))
    second = check_local("Europe/Dublin", datetime(2031, 10, 26, 1, 30, fold=1))
    assert second.astimezone(UTC) - first.astimezone(UTC) == timedelta(hours=1)


def test_what_can_be_is_taken() -> None:
    """Control: next to each refusal there is something allowed."""
    _played((_AT, 60.0), (_AT + timedelta(days=1), 75.0), (_AT + timedelta(days=1), 75.0))
    _plan([_person(ceiling_min=20.0, wanted=2, reeds=2)], [_reed(player="Ann")])
    Ladder(minutes=(5, 20, 80), rest_h=0.0)
