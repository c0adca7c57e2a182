"""A plan for breaking in, as it is handed on.

Guarded by `tests/invariants/test_break_in_plan.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakInSession:
    """One reed, one player, one day.

    Attributes
    ----------
    reed, player : str
        Number and name.
    rung : int
        The how-manieth session of the reed's life it is, from 1.
    starts : datetime
        In the player's zone.
    minutes : float
        Of playing.
    """

    reed: str
    player: str
    rung: int
    starts: datetime
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedReed:
    """A reed that makes it.

    Attributes
    ----------
    reed, player : str
        Number and name.
    sessions : tuple of BreakInSession
        In their order; none where it has settled.
    minutes : float
        Together.
    chance : float
        That it has settled after them.
    latest_start : date or None
        The last day on which its first session may be, all others being as planned; None without a session.
    """

    reed: str
    player: str
    sessions: tuple[BreakInSession, ...]
    minutes: float
    chance: float
    latest_start: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A reed that is not in the plan, and why, in words; `late` where time is what is lacking."""

    reed: str
    why: str
    late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerOutlook:
    """What a player may count on.

    Attributes
    ----------
    player : str
        Whose.
    wanted, planned : int
        Settled reeds that are needed, and reeds in the plan.
    chance : float
        That at least the wanted ones have settled, each reed for itself.
    """

    player: str
    wanted: int
    planned: int
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakInPlan:
    """Who plays which reed when.

    Attributes
    ----------
    settled_by : date
        On this day.
    sure : float
        How sure each reed in it is to have settled, at the least.
    reeds : tuple of PlannedReed
        In the order in which they were given.
    left_out : tuple of LeftOut
        The others.
    outlook : tuple of PlayerOutlook
        For each player.
    most_possible : int
        No plan has more reeds; `gap` is how many that is more than this one has.
    """

    settled_by: date
    sure: float
    reeds: tuple[PlannedReed, ...]
    left_out: tuple[LeftOut, ...]
    outlook: tuple[PlayerOutlook, ...]
    most_possible: int

    @property
    def gap(self) -> int:
        """How many reeds more the best plan can have at the most; 0 where this one is proven best."""
        return self.most_possible - len(self.reeds)

    @property
    def sessions(self) -> tuple[BreakInSession, ...]:
        """All of them, by time."""
        every = [one for reed in self.reeds for one in reed.sessions]
        return tuple(sorted(every, key=lambda one: (one.starts.timestamp(), one.player, one.reed)))
