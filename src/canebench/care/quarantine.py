"""Whose mouth a reed was in, and until when it rests before another's.

Marshall & Levy 2011 (Int. J. Environ. Health Res. 21:275, doi 10.1080/09603123.2010.550033, abstract): test
bacteria lived 24 to 48 h on reeds, up to 5 days after simulated play, a mycobacterium through 13 days. So
a rest makes sharing less risky and nothing clean; one mouth to a reed is better. Guarded by
`tests/published/test_quarantine.py` and `tests/invariants/test_quarantine.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import check_zone
from canebench.base.errors import UnlessInsistedError
from canebench.base.parsing import check_name
from canebench.base.sizes import MINUS, Range

if TYPE_CHECKING:
    from collections.abc import Iterable

#: The least, hours: what most test bacteria outlived on reeds at most (Marshall & Levy 2011).
REST_H: Final = 48.0
#: The cautious choice, hours: five days, the longest after simulated play (the same).
CAUTIOUS_REST_H: Final = 120.0
_REST: Final = Range(
    low=REST_H,
    high=24.0 * 365,
    usual=CAUTIOUS_REST_H,
    unit="h",
    slips=(MINUS, (24.0, "if that was days"), (1 / 60, "if that was minutes")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MouthTest:
    """Who had which reed in the mouth, and when; it checks itself.

    Guarded by `tests/invariants/test_quarantine.py`.

    Attributes
    ----------
    reed, player : str
        Number of the reed and name of the player, as they are logged.
    at : datetime
        When, with its time zone.
    until : datetime or None
        Until when it rests, where that was written down with the test.

    Raises
    ------
    InputError
        For an empty reed or player, or a time without a zone.
    """

    reed: str
    player: str
    at: datetime
    until: datetime | None = None

    def __post_init__(self) -> None:
        for field, text in (("reed", self.reed), ("player", self.player)):
            check_name(field, text)
        check_zone("time of the mouth test", self.at)
        if self.until is not None:
            check_zone("end of the rest", self.until)


@dataclass(frozen=True, slots=True, kw_only=True)
class MouthTestState:
    """Whether a player may take a reed into the mouth now. Guarded by `tests/invariants/test_quarantine.py`.

    Attributes
    ----------
    may : bool
        False while the reed rests from another's mouth.
    rests_until : datetime or None
        When that rest ends or ended, in the zone of the time that was asked; None where no one else has had
        it in the mouth.
    last_mouth : str or None
        Whose that was, the one it rests longest from.
    say : str
        The same in words.
    """

    may: bool
    rests_until: datetime | None
    last_mouth: str | None
    say: str


def rests_until(test: MouthTest, *, rest_h: float = REST_H) -> datetime:
    """When the rest after a mouth test ends, in the test's own time zone.

    48 h is the least and the default, 120 h the cautious choice: Marshall & Levy 2011 (abstract; no
    equation). Counted in true hours, also over a change of the clocks. Guarded by
    `tests/published/test_quarantine.py` and `tests/invariants/test_quarantine.py`.

    Parameters
    ----------
    test : MouthTest
        Who, which reed and when.
    rest_h : float
        How long it rests, 48 to 8760 h.

    Raises
    ------
    InputError
        For a rest outside that range.
    """
    _REST.check("rest", rest_h)
    return (test.at.astimezone(UTC) + timedelta(hours=rest_h)).astimezone(test.at.tzinfo)


def standing(
    tests: Iterable[MouthTest], *, reed: str, player: str, now: datetime, rest_h: float = REST_H
) -> MouthTestState:
    """Whether `player` may take `reed` into the mouth now.

    A player's own mouth asks for no rest, any other does, whoever had it since. A test that is logged for
    later than now counts too. Guarded by `tests/invariants/test_quarantine.py`.

    Parameters
    ----------
    tests : mouth tests
        In any order, also of other reeds.
    reed, player : str
        As they are logged.
    now : datetime
        With its time zone.
    rest_h : float
        How long a reed rests after a mouth, 48 to 8760 h; a test that was written down with its end rests
        until then.

    Raises
    ------
    InputError
        For a rest outside that range, an empty name, or a time without a zone.
    """
    _REST.check("rest", rest_h)
    for field, text in (("reed", reed), ("player", player)):
        check_name(field, text)
    check_zone("now", now)
    others = [test for test in tests if test.reed == reed and test.player != player]
    if not others:
        say = f"No one but {player} has had reed {reed} in the mouth, as far as is logged. Keep it so."
        return MouthTestState(may=True, rests_until=None, last_mouth=None, say=say)
    ends = [test.until or rests_until(test, rest_h=rest_h) for test in others]
    last, until = max(zip(others, ends, strict=True), key=lambda pair: pair[1])
    may = now >= until
    return MouthTestState(
        may=may,
        rests_until=until.astimezone(now.tzinfo),
        last_mouth=last.player,
        say=_say(reed, last, until.astimezone(now.tzinfo), may),
    )


def check_rested(state: MouthTestState, *, reed: str, player: str, insisted: bool) -> None:
    """Refuse a player a reed that rests from another's mouth, unless one insists.

    Guarded by `tests/invariants/test_quarantine.py`.

    Parameters
    ----------
    state : MouthTestState
        Of that reed for that player, as `standing` has it.
    reed, player : str
        As they are logged.
    insisted : bool
        Whether it was said that it shall be so all the same.

    Raises
    ------
    UnlessInsistedError
        It rests, and nobody insists; with the time when it is free again.
    """
    if state.may or insisted or state.rests_until is None:
        return
    raise UnlessInsistedError(
        field=f"reed {reed}",
        given=player,
        allowed=f"it {rest_said(state)}",
        nearest="another reed, or this one after that; or say that you insist",
    )


def rest_said(state: MouthTestState) -> str:
    """From whose mouth a reed rests, and until when, by the clock that was asked; empty where it is free.

    Guarded by `tests/invariants/test_quarantine.py`.

    Parameters
    ----------
    state : MouthTestState
        Of a reed for a player, as `standing` has it.
    """
    if state.may or state.rests_until is None:
        return ""
    return f"rests from the mouth of {state.last_mouth} until {state.rests_until:%Y-%m-%d %H:%M}"


def _say(reed: str, last: MouthTest, until: datetime, may: bool) -> str:
    when = f"{until:%Y-%m-%d %H:%M}"
    if may:
        return (
            f"Reed {reed} was in the mouth of {last.player}; its rest ended on {when}. "
            "Rest makes it less risky, not clean: one reed, one mouth is better."
        )
    return (
        f"Not yet: reed {reed} was in the mouth of {last.player}. Let it rest, dry and open to the air, "
        f"until {when}; or test it in a chanter on the bag instead."
    )
