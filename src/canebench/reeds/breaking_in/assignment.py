"""As many reeds as possible to players and days: shortest first, then by making room.

What is found is a plan, never an estimate of one; `bound.most_possible` says how far it can be from the best.
Nothing here depends on a clock or on chance. Guarded by `tests/cross_method/test_break_in_optimum.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.reeds.breaking_in.bound import most_possible
from canebench.reeds.breaking_in.jobs import ROUNDING_MIN, earliest, latest

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from canebench.reeds.breaking_in.days import PlayerDays
    from canebench.reeds.breaking_in.jobs import Job, Work

#: So many players' days are laid out anew while room is made, at the most.
_MOST_TRIES: Final = 4000
#: Days of one player's jobs, by the reed.
Placed = dict[int, tuple[int, ...]]
_ORDERS: Final[tuple[Callable[[Job], tuple[float, ...]], ...]] = (
    lambda job: (job.first, len(job.lengths), job.reed),
    lambda job: (-len(job.lengths), job.first, job.reed),
    lambda job: (-job.minutes, job.reed),
    lambda job: (job.minutes, job.reed),
)


class _Board:
    """Who has which reeds on which days so far."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self.placed: list[Placed] = [{} for _ in work.days]
        self.tries = 0

    def with_jobs(self, player: int, reeds: Sequence[int]) -> Placed | None:
        """A player's days with just these reeds; None where they do not fit."""
        if len(reeds) > self.work.caps[player]:
            return None
        self.tries += 1
        return laid_out(self.work.days[player], [self.work.jobs[reed, player] for reed in reeds])

    def put(self, reed: int) -> bool:
        """Give a reed to the player who is furthest from having enough, and has room."""
        return any(self._add(player, reed) for player in self._hungriest(reed))

    def make_room(self, reed: int) -> bool:
        """Give it to a player by handing one of his reeds on to another."""
        for player in self._hungriest(reed):
            for other in list(self.placed[player]):
                if self.tries > _MOST_TRIES:
                    return False
                kept = [one for one in self.placed[player] if one != other]
                found = self.with_jobs(player, [*kept, reed])
                if found is None:
                    continue
                before, self.placed[player] = self.placed[player], found
                if any(self._add(to, other) for to in self._hungriest(other) if to != player):
                    return True
                self.placed[player] = before
        return False

    def _add(self, player: int, reed: int) -> bool:
        found = self.with_jobs(player, [*self.placed[player], reed])
        if found is None:
            return False
        self.placed[player] = found
        return True

    def _hungriest(self, reed: int) -> list[int]:
        who = [player for player in range(len(self.placed)) if (reed, player) in self.work.jobs]
        caps = self.work.caps
        return sorted(who, key=lambda at: (len(self.placed[at]) / max(caps[at], 1), at))


def assigned(work: Work) -> tuple[list[Placed], int]:
    """As many reeds as possible, and how many no plan exceeds.

    Parameters
    ----------
    work : Work
        What is to be placed.

    Returns
    -------
    list of Placed, int
        For each player the days of each of his reeds' sessions; the bound.
    """
    board = _Board(work)
    able = sorted({reed for reed, _ in work.jobs}, key=lambda reed: _need(work, reed))
    waiting = [reed for reed in able if not board.put(reed)]
    counts = [len(own) for own in board.placed]
    bound = most_possible(work, counts) if waiting else len(able)
    for reed in waiting:
        if sum(len(own) for own in board.placed) >= bound or board.tries > _MOST_TRIES:
            break
        board.make_room(reed)
    return board.placed, max(bound, sum(len(own) for own in board.placed))


def _need(work: Work, reed: int) -> tuple[float, int, int]:
    """Shortest first; of equals the one that fewest may have, then as given."""
    own = [job for (one, _), job in work.jobs.items() if one == reed]
    return min(job.minutes for job in own), len(own), reed


def laid_out(days: PlayerDays, jobs: Sequence[Job]) -> Placed | None:
    """Jobs of one player on his days: the most pressing first, else one after the other in several orders.

    Parameters
    ----------
    days : PlayerDays
        The player's.
    jobs : sequence of Job
        What is to find room.

    Returns
    -------
    Placed or None
        None where no such order fits them all.
    """
    minutes = sum(job.minutes for job in jobs)
    if minutes > sum(days.minutes) + ROUNDING_MIN:
        return None
    found = _pressing_first(days, jobs)
    for order in _ORDERS:
        if found is not None:
            break
        found = _in_order(days, sorted(jobs, key=order))
    return found


def _in_order(days: PlayerDays, jobs: Sequence[Job]) -> Placed | None:
    left, rooms = list(days.minutes), [days.most] * len(days.dates)
    found: Placed = {}
    for job in jobs:
        own = earliest(job, days, left, rooms)
        if own is None:
            return None
        found[job.reed] = tuple(own)
        for day, length in zip(own, job.lengths, strict=True):
            left[day] -= length
            rooms[day] -= 1
    return found


def _pressing_first(days: PlayerDays, jobs: Sequence[Job]) -> Placed | None:
    """Day by day: of the rested reeds those first whose next session may wait least."""
    full, before = [days.most] * len(days.dates), days.latest_before()
    last = {}
    for job in jobs:
        own = latest(job, days.minutes, full, before)
        if own is None:
            return None
        last[job.reed] = own
    found: dict[int, list[int]] = {job.reed: [] for job in jobs}
    ready = {job.reed: job.first for job in jobs}
    open_jobs = [job for job in jobs if job.lengths]
    for day, minutes in enumerate(days.minutes):
        left, rooms = minutes, days.most
        if left <= 0.0:
            continue
        rested = [job for job in open_jobs if ready[job.reed] <= day]
        rested.sort(key=lambda job: (last[job.reed][len(found[job.reed])], -job.minutes, job.reed))
        for job in rested:
            had = found[job.reed]
            length = job.lengths[len(had)]
            if rooms > 0 and left >= length - ROUNDING_MIN:
                left, rooms = left - length, rooms - 1
                had.append(day)
                ready[job.reed] = days.after[day]
            elif last[job.reed][len(had)] <= day:
                return None
        open_jobs = [job for job in open_jobs if len(found[job.reed]) < len(job.lengths)]
    return None if open_jobs else {reed: tuple(own) for reed, own in found.items()}
