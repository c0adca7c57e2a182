"""What no plan may do, looked at from outside: from its sessions alone, in true minutes."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from canebench.reeds.breaking_in.ladder import Ladder
    from canebench.reeds.breaking_in.people import PlayerTime, ReedToBreakIn
    from canebench.reeds.breaking_in.planned import BreakInPlan, BreakInSession

_MINUTE = timedelta(minutes=1)


def broken(
    plan: BreakInPlan,
    people: Sequence[PlayerTime],
    reeds: Sequence[ReedToBreakIn],
    *,
    ladder: Ladder,
    now: datetime,
) -> list[str]:
    """Every rule that the plan breaks, by its name."""
    by_player: dict[str, list[BreakInSession]] = defaultdict(list)
    for one in plan.sessions:
        by_player[one.player].append(one)
    found = [rule for person in people for rule in _of_player(person, by_player[person.name])]
    known = {reed.number: reed for reed in reeds}
    for planned in plan.reeds:
        given = known[planned.reed]
        own = sorted(planned.sessions, key=lambda one: one.starts.astimezone(UTC))
        found += _of_reed(given, own, ladder, now)
        if any(one.starts.date() >= plan.settled_by for one in own):
            found.append("not before the date")
        wanted = plan.sure
        if given.still.minutes_for(wanted) is None:
            # It never gets there: that share of the most that it can.
            wanted *= given.still.most
        if min(planned.chance, given.still.by(sum(one.minutes for one in own))) < wanted - 1e-9:
            found.append("not sure enough")
        if given.player not in (None, planned.player):
            found.append("another's reed")
    numbers = sorted([one.reed for one in plan.reeds] + [one.reed for one in plan.left_out])
    if numbers != sorted(reed.number for reed in reeds):
        found.append("a reed is nowhere or twice")
    if plan.gap < 0:
        found.append("more than possible")
    return found


def _of_player(person: PlayerTime, own: Sequence[BreakInSession]) -> list[str]:
    found = []
    days: dict[object, list[BreakInSession]] = defaultdict(list)
    for one in own:
        days[one.starts.date()].append(one)
    for day, held in days.items():
        if sum(one.minutes for one in held) > person.minutes[held[0].starts.weekday()] + 1e-6:
            found.append("above a player's minutes")
        if day in person.away:
            found.append("away")
        if len(held) > person.sessions_a_day:
            found.append("too many reeds a day")
        ordered = sorted(held, key=lambda one: one.starts.astimezone(UTC))
        for a, b in pairwise(ordered):
            if a.starts.astimezone(UTC) + a.minutes * _MINUTE > b.starts.astimezone(UTC):
                found.append("two reeds at once")
    if person.reeds is not None and len({one.reed for one in own}) > person.reeds:
        found.append("more reeds than set")
    return found


def _of_reed(reed: ReedToBreakIn, own: Sequence[BreakInSession], ladder: Ladder, now: datetime) -> list[str]:
    found = []
    rest = timedelta(hours=ladder.rest_h)
    last = reed.played_until
    for number, one in enumerate(own):
        rung = reed.had + number
        if one.minutes > ladder.minutes[min(rung, len(ladder.minutes) - 1)] + 1e-9 or one.rung != rung + 1:
            found.append("above the ladder")
        if last is not None and one.starts.astimezone(UTC) < last.astimezone(UTC) + rest:
            found.append("not rested")
        last = one.starts.astimezone(UTC) + one.minutes * _MINUTE
        if one.starts < now:
            found.append("in the past")
        if any(m.player != one.player and one.starts < m.until for m in reed.mouths):
            found.append("within another mouth's rest")
    if len({one.player for one in own}) > 1:
        found.append("two mouths")
    return found
