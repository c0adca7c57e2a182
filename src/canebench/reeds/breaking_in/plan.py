"""The front of breaking in: players, reeds and a date in, a plan out.

Guarded by `tests/invariants/test_break_in_plan.py` and `tests/cross_method/test_break_in_optimum.py`.
"""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import zone_named
from canebench.base.errors import InputError, UnknownNameError
from canebench.base.sizes import is_finite, said
from canebench.reeds.breaking_in.assignment import assigned
from canebench.reeds.breaking_in.chances import at_least
from canebench.reeds.breaking_in.days import PAUSE_MIN, days_between, player_days
from canebench.reeds.breaking_in.jobs import latest, work_of
from canebench.reeds.breaking_in.ladder import USUAL_LADDER
from canebench.reeds.breaking_in.planned import (
    BreakInPlan,
    BreakInSession,
    LeftOut,
    PlannedReed,
    PlayerOutlook,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime

    from canebench.reeds.breaking_in.assignment import Placed
    from canebench.reeds.breaking_in.jobs import Work
    from canebench.reeds.breaking_in.ladder import Ladder
    from canebench.reeds.breaking_in.people import PlayerTime, ReedToBreakIn

#: How sure each reed, and the number wanted, shall be. Estimate.
SURE: Final = 0.8
_MOST_REEDS: Final = 2000


def plan_breaking_in(
    people: Sequence[PlayerTime],
    reeds: Sequence[ReedToBreakIn],
    *,
    now: datetime,
    settled_by: date,
    ladder: Ladder = USUAL_LADDER,
    sure: float = SURE,
) -> BreakInPlan:
    """As many reeds settled by a date as possible, none above anyone's minutes, one reed for one mouth.

    Parameters
    ----------
    people : sequence of PlayerTime
        One at the least.
    reeds : sequence of ReedToBreakIn
        Of equals the first is preferred.
    now : datetime
        With its zone; sessions begin after it.
    settled_by : date
        The last session lies before this day.
    ladder : Ladder
        How long sessions are, and the rest after each.
    sure : float
        A reed is planned until it has settled with this chance, 0.5 to 0.99; where it never gets there, until
        with this share of the most that it can reach.

    Returns
    -------
    BreakInPlan
        The same for the same input. Guarded by `tests/invariants/test_break_in_plan.py`.

    Raises
    ------
    InputError
        Nobody to play, a name or number twice, a date that is none, a reed whose player is unknown.
    """
    _check(people, reeds, sure)
    dates = days_between(now, settled_by)
    days = [player_days(one, dates, now=now, rest_h=ladder.rest_h) for one in people]
    caps = [_cap(one, sure, len(reeds)) for one in people]
    work = work_of(reeds, people, days, caps, ladder=ladder, sure=sure)
    placed, bound = assigned(work)
    every = _planned(people, reeds, work, placed)
    named = {one.reed for one in every}
    left = tuple(
        _left_out(place, reed, people, work, placed, sure)
        for place, reed in enumerate(reeds)
        if reed.number not in named
    )
    return BreakInPlan(
        settled_by=settled_by,
        sure=sure,
        reeds=every,
        left_out=left,
        outlook=tuple(_outlook(one, every) for one in people),
        most_possible=bound,
    )


def to_begin(wanted: int, each: float, *, sure: float, most: int) -> int:
    """How many reeds to begin so that enough of them settle: the fewest, or the most there are.

    Parameters
    ----------
    wanted : int
        Settled reeds that are needed.
    each : float
        The chance of each.
    sure : float
        How sure it shall be that at least the wanted ones settle.
    most : int
        There are no more.

    Returns
    -------
    int
        From `wanted` on; `most` where even that is not enough.
    """
    for count in range(wanted, most):
        if at_least(wanted, [each] * count) >= sure:
            return count
    return most


def _cap(person: PlayerTime, sure: float, count: int) -> int:
    if person.reeds is not None:
        return min(person.reeds, count)
    return to_begin(person.wanted, sure, sure=sure, most=count) if person.wanted else count


def check_reeds(count: int) -> None:
    """Refuse a plan for more reeds than one is made for.

    Parameters
    ----------
    count : int
        How many are to be planned for.

    Raises
    ------
    InputError
        For more than 2000. Guarded by `tests/faults/test_bad_plans.py`.
    """
    if count > _MOST_REEDS:
        raise InputError(
            field="reeds to break in",
            given=f"{count}",
            allowed=f"{_MOST_REEDS} at the most in one plan: name some, such as those of a lot",
        )


def _check(people: Sequence[PlayerTime], reeds: Sequence[ReedToBreakIn], sure: float) -> None:
    if not people:
        raise InputError(field="players", given="none", allowed="one at the least is needed")
    check_reeds(len(reeds))
    if not is_finite(sure) or not 0.5 <= sure <= 0.99:
        near = "0.5" if is_finite(sure) and sure < 0.5 else "0.99"
        near = f"{sure / 100:g}, if that was per cent" if is_finite(sure) and 50 <= sure <= 99 else near
        raise InputError(field="how sure", given=said(sure), allowed="from 0.5 to 0.99", nearest=near)
    check_once("player", (one.name for one in people))
    check_once("reed", (one.number for one in reeds))
    names = [one.name for one in people]
    for reed in reeds:
        if reed.player is not None and reed.player not in names:
            raise UnknownNameError(field=f"player of reed {reed.number}", given=reed.player, known=names)


def check_once(what: str, names: Iterable[str]) -> None:
    """An error where a name or number stands for two.

    Parameters
    ----------
    what : str
        "reed" or "player".
    names : str each
        As given.

    Raises
    ------
    InputError
        With a number that is free. Guarded by `tests/faults/test_bad_plans.py`.
    """
    counts = Counter(names)
    for name, count in counts.items():
        if count > 1:
            free = next(
                f"{name}-{end}" for end in range(2, count + len(counts) + 2) if f"{name}-{end}" not in counts
            )
            raise InputError(
                field=what,
                given=f"{name} {'twice' if count == 2 else f'{count} times'}",
                allowed=f"each {what} once: two under one name cannot be told apart",
                nearest=f"{free} for the other",
            )


def _planned(
    people: Sequence[PlayerTime], reeds: Sequence[ReedToBreakIn], work: Work, placed: Sequence[Placed]
) -> tuple[PlannedReed, ...]:
    found = {}
    for player, own in enumerate(placed):
        starts = _starts(work, player, own)
        zone = zone_named(people[player].zone)
        for reed, days in own.items():
            job, given = work.jobs[reed, player], reeds[reed]
            sessions = tuple(
                BreakInSession(
                    reed=given.number,
                    player=people[player].name,
                    rung=given.had + number + 1,
                    starts=starts[reed, day].astimezone(zone),
                    minutes=length,
                )
                for number, (day, length) in enumerate(zip(days, job.lengths, strict=True))
            )
            found[reed] = PlannedReed(
                reed=given.number,
                player=people[player].name,
                sessions=sessions,
                minutes=job.minutes,
                chance=given.still.by(job.minutes),
                latest_start=_latest_start(work, player, own, reed),
            )
    return tuple(found[reed] for reed in sorted(found))


def _starts(work: Work, player: int, own: Placed) -> dict[tuple[int, int], datetime]:
    """When each session begins, by reed and day: one after the other, the shortest first, a pause between."""
    days = work.days[player]
    on_day: dict[int, list[tuple[float, int]]] = {}
    for reed, at in own.items():
        for day, length in zip(at, work.jobs[reed, player].lengths, strict=True):
            on_day.setdefault(day, []).append((length, reed))
    found = {}
    for day, held in on_day.items():
        at_min = 0.0
        for length, reed in sorted(held):
            found[reed, day] = days.starts[day] + timedelta(minutes=at_min)
            at_min += length + PAUSE_MIN
    return found


def _latest_start(work: Work, player: int, own: Placed, reed: int) -> date | None:
    days = work.days[player]
    left, rooms = list(days.minutes), [days.most] * len(days.dates)
    for other, at in own.items():
        for day, length in zip(at, work.jobs[other, player].lengths, strict=True):
            if other != reed:
                left[day] -= length
                rooms[day] -= 1
    found = latest(work.jobs[reed, player], left, rooms, days.latest_before())
    return days.dates[found[0]] if found else None


def _left_out(
    place: int,
    reed: ReedToBreakIn,
    people: Sequence[PlayerTime],
    work: Work,
    placed: Sequence[Placed],
    sure: float,
) -> LeftOut:
    needed = reed.still.enough_min(sure)
    who = [player for player in range(len(people)) if (place, player) in work.jobs]
    if needed is None:
        why, late = f"it may never settle: {reed.still.most:.0%} by what is known of it", False
    elif not who:
        why, late = f"too late: {needed:.0f} minutes more do not fit into the days that are left", True
    elif all(len(placed[player]) >= work.caps[player] for player in who):
        why, late = "not needed: enough others are begun; a spare, should one of them fail", False
    else:
        why, late = "no minutes are left with anyone who may play it", True
    return LeftOut(reed=reed.number, why=why, late=late)


def _outlook(person: PlayerTime, every: Sequence[PlannedReed]) -> PlayerOutlook:
    own = [one.chance for one in every if one.player == person.name]
    return PlayerOutlook(
        player=person.name,
        wanted=person.wanted,
        planned=len(own),
        chance=at_least(person.wanted, own),
    )
