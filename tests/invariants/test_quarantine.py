"""A reed rests from every mouth but the player's own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError, UnlessInsistedError
from canebench.care.quarantine import MouthTest, check_rested, rest_said, rests_until, standing

_START = datetime(2031, 5, 4, 18, 30, tzinfo=UTC)
_PLAYERS = ("player one", "player two", "player three")
_TESTS = st.lists(
    st.builds(
        lambda reed, player, hours: MouthTest(reed=reed, player=player, at=_START + timedelta(hours=hours)),
        reed=st.sampled_from(["12", "13"]),
        player=st.sampled_from(_PLAYERS),
        hours=st.integers(-400, 400),
    ),
    max_size=8,
)


@given(
    tests=_TESTS,
    player=st.sampled_from(_PLAYERS),
    hours=st.integers(-400, 900),
    rest_h=st.floats(48.0, 200.0),
)
def test_no_mouth_before_every_other_one_has_rested(
    tests: list[MouthTest], player: str, hours: int, rest_h: float
) -> None:
    now = _START + timedelta(hours=hours)
    found = standing(tests, reed="12", player=player, now=now, rest_h=rest_h)
    others = [test for test in tests if test.reed == "12" and test.player != player]
    assert found.may == all(now - test.at >= timedelta(hours=rest_h) for test in others)
    assert (found.rests_until is None) == (found.last_mouth is None) == (not others)
    assert found.say.startswith("Not yet") == (not found.may)
    assert player in found.say or found.last_mouth is not None
    assert found == standing(tests[::-1], reed="12", player=player, now=now, rest_h=rest_h) or len(
        {test.at for test in others}
    ) < len(others)


def test_words() -> None:
    test = MouthTest(reed="12", player="player one", at=_START)
    now = _START + timedelta(hours=1)
    wait = standing([test], reed="12", player="player two", now=now)
    assert wait.say.startswith("Not yet: reed 12 was in the mouth of player one. Let it rest, dry")
    assert "until 2031-05-06 18:30" in wait.say
    done = standing([test], reed="12", player="player two", now=now + timedelta(days=2))
    assert done.may
    assert "not clean: one reed, one mouth is better" in done.say
    own = standing([test], reed="12", player="player one", now=now)
    assert own.say == "No one but player one has had reed 12 in the mouth, as far as is logged. Keep it so."


def test_the_rest_ends_on_the_minute() -> None:
    test = MouthTest(reed="12", player="player one", at=_START)
    until = rests_until(test)
    assert standing([test], reed="12", player="player two", now=until).may
    assert not standing([test], reed="12", player="player two", now=until - timedelta(seconds=1)).may


def test_words_are_in_the_askers_own_time() -> None:
    test = MouthTest(reed="12", player="player one", at=_START)
    now = _START.astimezone(timezone(timedelta(hours=2)))
    assert "until 2031-05-06 20:30" in standing([test], reed="12", player="player two", now=now).say


def test_a_rest_is_true_hours_over_a_change_of_the_clocks() -> None:
    """Control: wall-clock arithmetic would let the reed out an hour early in spring."""
    before = datetime(2031, 3, 29, 12, 0, tzinfo=ZoneInfo("Europe/London"))
    until = rests_until(MouthTest(reed="12", player="player one", at=before))
    assert until.astimezone(UTC) - before.astimezone(UTC) == timedelta(hours=48)
    assert until.hour == 13
    wrong = before + timedelta(hours=48)
    assert wrong.astimezone(UTC) - before.astimezone(UTC) == timedelta(hours=47)


def test_what_cannot_be_logged_is_refused() -> None:
    with pytest.raises(InputError, match="reed: ' ' was given; a name or number is needed"):
        MouthTest(reed=" ", player="player one", at=_START)
    with pytest.raises(InputError, match="player: '' was given"):
        MouthTest(reed="12", player="", at=_START)
    with pytest.raises(InputError, match="2031-05-04T18:30:00 was given; a date and time with its zone"):
        MouthTest(reed="12", player="player one", at=_START.replace(tzinfo=None))
    with pytest.raises(InputError, match=r"now: .* with its zone"):
        standing([], reed="12", player="player one", now=_START.replace(tzinfo=None))
    with pytest.raises(InputError, match=r"rest: 2 h was given; .* 48 h, if that was days"):
        standing([], reed="12", player="player one", now=_START, rest_h=2)


def test_a_rest_that_was_written_down_longer_holds_longer() -> None:
    """Also where another mouth had it since, for a shorter rest."""
    long = MouthTest(reed="12", player="player one", at=_START, until=_START + timedelta(hours=120))
    short = MouthTest(reed="12", player="player two", at=_START + timedelta(hours=2))
    now = _START + timedelta(hours=60)
    found = standing([long, short], reed="12", player="player three", now=now)
    assert not found.may
    assert (found.last_mouth, found.rests_until) == ("player one", long.until)
    # The control: without what was written down, 48 h are over.
    bare = MouthTest(reed="12", player="player one", at=_START)
    assert standing([bare, short], reed="12", player="player three", now=now).may
    with pytest.raises(InputError, match="end of the rest"):
        MouthTest(reed="12", player="player one", at=_START, until=_START.replace(tzinfo=None))


def test_a_reed_that_rests_is_refused_unless_one_insists() -> None:
    test = MouthTest(reed="12", player="player one", at=_START)

    def asked(player: str, hours: int, *, insisted: bool, zone: str = "UTC") -> str:
        now = (_START + timedelta(hours=hours)).astimezone(ZoneInfo(zone))
        state = standing([test], reed="12", player=player, now=now)
        check_rested(state, reed="12", player=player, insisted=insisted)
        return rest_said(state)

    with pytest.raises(UnlessInsistedError, match=r"of player one until 2031-05-06 18:30\. .*insist"):
        asked("player two", 47, insisted=False)
    assert asked("player two", 47, insisted=True) == (
        "rests from the mouth of player one until 2031-05-06 18:30"
    )
    # By the clock of whoever asks.
    assert asked("player two", 47, insisted=True, zone="Europe/Paris").endswith("2031-05-06 20:30")
    # The controls: the same mouth, and the rest over.
    assert asked("player one", 1, insisted=False) == ""
    assert asked("player two", 48, insisted=False) == ""
