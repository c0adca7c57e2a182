"""The work of a plan: for each reed and each player who may have it, sessions of so many minutes.

Guarded by `tests/cross_method/test_break_in_optimum.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Final

from canebench.reeds.breaking_in.ladder import SESSION_MIN

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from canebench.reeds.breaking_in.days import PlayerDays
    from canebench.reeds.breaking_in.ladder import Ladder
    from canebench.reeds.breaking_in.people import PlayerTime, ReedToBreakIn


#: Sums of minutes are compared with this much patience, min.
ROUNDING_MIN: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One reed with one player.

    Attributes
    ----------
    reed, player : int
        Their places in what was given.
    first : int
        The first day on which it may be played.
    lengths : tuple of float
        Its sessions, min, in their order.
    """

    reed: int
    player: int
    first: int
    lengths: tuple[float, ...]

    @property
    def minutes(self) -> float:
        """All its sessions together."""
        return sum(self.lengths)


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What is to be placed where.

    Attributes
    ----------
    days : tuple of PlayerDays
        Of each player.
    caps : tuple of int
        The most reeds of each player.
    jobs : mapping of (reed, player) to Job
        Those that fit on that player's days with nothing else on them.
    reeds : int
        How many there are, with those that fit nowhere.
    """

    days: tuple[PlayerDays, ...]
    caps: tuple[int, ...]
    jobs: dict[tuple[int, int], Job]
    reeds: int


def earliest(job: Job, days: PlayerDays, left: Sequence[float], rooms: Sequence[int]) -> list[int] | None:
    """Each session of a job on the first day that has room for it; None where they do not all fit.

    No other placing of this one job ends sooner: each session comes no later than in any other.

    Parameters
    ----------
    job : Job
        What is to be placed.
    days : PlayerDays
        Its player's.
    left, rooms : sequences of a number for each day
        Minutes and sessions that are left.
    """
    found: list[int] = []
    day = job.first
    for length in job.lengths:
        while day < len(left) and (rooms[day] < 1 or left[day] < length - ROUNDING_MIN):
            day += 1
        if day >= len(left):
            return None
        found.append(day)
        day = days.after[day]
    return found


def latest(job: Job, left: Sequence[float], rooms: Sequence[int], before: Sequence[int]) -> list[int] | None:
    """Each session of a job on the last day that will do; None where they do not all fit.

    Parameters
    ----------
    job, left, rooms
        As for `earliest`.
    before : sequence of int
        `PlayerDays.latest_before`.
    """
    found: list[int] = []
    day = len(left) - 1
    for length in reversed(job.lengths):
        while day >= job.first and (rooms[day] < 1 or left[day] < length - ROUNDING_MIN):
            day -= 1
        if day < job.first:
            return None
        found.append(day)
        day = before[day]
    return found[::-1]


def work_of(
    reeds: Sequence[ReedToBreakIn],
    people: Sequence[PlayerTime],
    days: Sequence[PlayerDays],
    caps: Sequence[int],
    *,
    ladder: Ladder,
    sure: float,
) -> Work:
    """The jobs that fit at all."""
    jobs = {}
    for place, reed in enumerate(reeds):
        needed = reed.still.enough_min(sure)
        if needed is None:
            continue
        for at, (person, own) in enumerate(zip(people, days, strict=True)):
            if reed.player not in (None, person.name):
                continue
            first = own.first_from(_free(reed, person.name, ladder.rest_h, own.starts[0]))
            job = _soonest(place, at, first, own, ladder, (reed.had, needed))
            if job is not None:
                jobs[place, at] = job
    return Work(days=tuple(days), caps=tuple(caps), jobs=jobs, reeds=len(reeds))


def _soonest(
    reed: int, player: int, first: int, days: PlayerDays, ladder: Ladder, still: tuple[int, float]
) -> Job | None:
    """The sessions with which it is through first, alone on the player's days; None for none.

    Long sessions wait for long days: where a player's days differ, shorter ones may be through sooner.
    """
    had, needed = still
    best: tuple[int, int] | None = None
    found = None
    for most in sorted({one for one in days.minutes if one >= SESSION_MIN.low}, reverse=True):
        if needed > most * len(days.dates):
            break
        job = Job(reed=reed, player=player, first=first, lengths=ladder.lengths(had, needed, most_min=most))
        own = earliest(job, days, days.minutes, [days.most] * len(days.dates))
        if own is None:
            continue
        rank = (own[-1] if own else -1, len(job.lengths))
        if best is None or rank < best:
            best, found = rank, job
    return found


def _free(reed: ReedToBreakIn, player: str, rest_h: float, begin: datetime) -> datetime:
    """From when on this player may play it: its own rest, and the one from other mouths, are over."""
    found = begin
    if reed.played_until is not None:
        found = max(found, reed.played_until.astimezone(UTC) + timedelta(hours=rest_h))
    rests = reed.rests_until(player)
    return max(found, rests.astimezone(UTC)) if rests is not None else found
