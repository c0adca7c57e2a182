"""What to do where a plan is late, in sentences: more minutes, another reed, or fewer reeds.

Never more than the ladder gives a reed or a player allows. Guarded by `tests/practice/test_late_plans.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.sentences import listed
from canebench.reeds.breaking_in.chances import sure_of
from canebench.reeds.breaking_in.ladder import USUAL_LADDER
from canebench.reeds.breaking_in.people import ReedToBreakIn
from canebench.reeds.breaking_in.plan import plan_breaking_in

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from canebench.reeds.breaking_in.chances import StillToPlay
    from canebench.reeds.breaking_in.ladder import Ladder
    from canebench.reeds.breaking_in.people import PlayerTime
    from canebench.reeds.breaking_in.planned import BreakInPlan, LeftOut, PlayerOutlook


#: What sums of minutes may round a chance by.
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LateAdvice:
    """Where a plan stands, and what can be done.

    Attributes
    ----------
    late : bool
        Whether a reed does not make it for want of time, or a player may not count on what is wanted.
    said : tuple of str
        Sentences: how it stands first, then what can be done, the gentlest first.
    """

    late: bool
    said: tuple[str, ...]


def late_advice(
    plan: BreakInPlan,
    people: Sequence[PlayerTime],
    reeds: Sequence[ReedToBreakIn],
    *,
    now: datetime,
    ladder: Ladder = USUAL_LADDER,
    new_reed: StillToPlay | None = None,
) -> LateAdvice:
    """What to say of a plan, and to do where it is late.

    Parameters
    ----------
    plan : BreakInPlan
        Of these people and reeds, made with this ladder.
    people : sequence of PlayerTime
        Their ceilings are the most they are asked for.
    reeds : sequence of ReedToBreakIn
        All that were given.
    now : datetime
        As the plan was made, with its zone.
    ladder : Ladder
        As the plan was made with.
    new_reed : StillToPlay or None
        What a new reed needs; with it another reed is thought of.

    Returns
    -------
    LateAdvice
        Guarded by `tests/practice/test_late_plans.py`.
    """
    short = [one for one in plan.outlook if one.chance < plan.sure]
    behind = [one for one in plan.left_out if one.late]
    said = [_standing(plan, len(reeds))]
    if not short and not behind:
        return LateAdvice(late=False, said=tuple(said))
    if behind:
        said.append(_behind(behind))
    said += [_short(one, plan) for one in short]
    raised = [_raised(one) for one in people]
    if raised != list(people):
        more = plan_breaking_in(
            raised, reeds, now=now, settled_by=plan.settled_by, ladder=ladder, sure=plan.sure
        )
        said.append(_more_minutes(plan, more, people))
    elif behind or short:
        said.append("More minutes a day are not to be had: every player's days are at the most that was set.")
    if new_reed is not None and short:
        said.append(_another(plan, people, reeds, now=now, ladder=ladder, new_reed=new_reed))
    said += [_fewer(one, plan) for one in short]
    return LateAdvice(late=True, said=tuple(said))


def _behind(reeds: Sequence[LeftOut]) -> str:
    """Which do not make it, by reason."""
    by_reason: dict[str, list[str]] = {}
    for one in reeds:
        by_reason.setdefault(one.why.partition(":")[0], []).append(one.reed)
    told = (f"{'reed' if len(own) == 1 else 'reeds'} {listed(own)} ({why})" for why, own in by_reason.items())
    return f"Not in time: {'; '.join(told)}."


def _standing(plan: BreakInPlan, given: int) -> str:
    proof = (
        "no plan has more"
        if plan.gap == 0
        else f"no plan has more than {plan.most_possible}, whether one has more than this is not known"
    )
    chances = [one.chance for one in plan.reeds]
    least, most = min(chances, default=plan.sure), max(chances, default=plan.sure)
    each = f"{plan.sure:.0%} or better"
    if least < plan.sure - _ROUNDING:
        each = f"{least:.0%}" if most - least < 0.005 else f"{least:.0%} to {most:.0%}"
    return (
        f"{len(plan.reeds)} of {given} {'reed' if given == 1 else 'reeds'} can be settled by "
        f"{plan.settled_by.isoformat()}, each with a chance of {each}; {proof}."
    )


def _short(one: PlayerOutlook, plan: BreakInPlan) -> str:
    return (
        f"{one.player} wants {one.wanted} settled by {plan.settled_by.isoformat()}: {one.planned} in the "
        f"plan, the chance is {one.chance:.0%}."
    )


def _raised(person: PlayerTime) -> PlayerTime:
    """With as many minutes as may be asked for, on the days on which there are any."""
    ceiling = person.ceiling_min
    if ceiling is None:
        return person
    return replace(person, minutes=tuple(ceiling if one > 0.0 else 0.0 for one in person.minutes))


def _more_minutes(plan: BreakInPlan, more: BreakInPlan, people: Sequence[PlayerTime]) -> str:
    gained = len(more.reeds) - len(plan.reeds)
    better = [
        f"{after.player} from {before.chance:.0%} to {after.chance:.0%}"
        for before, after in zip(plan.outlook, more.outlook, strict=True)
        if after.chance > before.chance + 0.005
    ]
    asked = _up_to(people)
    if gained <= 0 and not better:
        return f"More minutes a day ({asked}) do not help: the ladder keeps a reed's sessions as short."
    gain = [f"{gained} more {'makes' if gained == 1 else 'make'} it"] if gained > 0 else []
    chances = [f"the chances rise for {listed(better)}"] if better else []
    return f"With more minutes a day ({asked}), {listed([*gain, *chances])}."


def _up_to(people: Sequence[PlayerTime]) -> str:
    """What each is asked for at the most, by name where they differ."""
    told = {
        one.name: one.ceiling_min for one in people if one.ceiling_min is not None and one != _raised(one)
    }
    if len(told) == len(people) > 1 and len(set(told.values())) == 1:
        return f"each up to {told[people[0].name]:g}"
    return listed(f"{name} up to {most:g}" for name, most in told.items())


def _another(
    plan: BreakInPlan,
    people: Sequence[PlayerTime],
    reeds: Sequence[ReedToBreakIn],
    *,
    now: datetime,
    ladder: Ladder,
    new_reed: StillToPlay,
) -> str:
    """A new reed for each player who is short; none has been in a mouth."""
    names = {one.number for one in reeds}
    short = {one.player for one in plan.outlook if one.chance < plan.sure}
    extra, number = [], 0
    for name in (one.name for one in people if one.name in short):
        number = next(n for n in range(number + 1, number + len(names) + 2) if f"new {n}" not in names)
        extra.append(ReedToBreakIn(number=f"new {number}", still=new_reed, player=name))
    wider = [
        replace(one, reeds=max(own.planned + 1, one.wanted)) if one.name in short else one
        for one, own in zip(people, plan.outlook, strict=True)
    ]
    tried = plan_breaking_in(
        wider, [*reeds, *extra], now=now, settled_by=plan.settled_by, ladder=ladder, sure=plan.sure
    )
    helped = [
        f"{after.player} from {before.chance:.0%} to {after.chance:.0%}"
        for before, after in zip(plan.outlook, tried.outlook, strict=True)
        if after.player in short and after.chance > before.chance + 0.005
    ]
    if not helped:
        return "Another new reed would come too late, or there are no minutes for it."
    return f"One more reed, begun now, lifts the chance: {listed(helped)}."


def _fewer(one: PlayerOutlook, plan: BreakInPlan) -> str:
    own = [reed.chance for reed in plan.reeds if reed.player == one.player]
    count = sure_of(plan.sure, own)
    if count == 0:
        return f"{one.player} cannot count on any reed by then: play a settled one on that day."
    return f"Or fewer: {one.player} can count on {count} with a chance of {plan.sure:.0%} or better."
