"""How sure a plan of breaking in is, in sentences, and where its numbers come from.

Guarded by `tests/doors/test_calendar_command.py` and `tests/web/test_calendar.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from canebench.base.sentences import listed
from canebench.bench.views.ahead.calendar import USUAL_MIN
from canebench.reeds.breaking_in.chances import at_least, sure_of
from canebench.reeds.breaking_in.days import PAUSE_MIN
from canebench.reeds.breaking_in.ladder import USUAL_LADDER
from canebench.reeds.breaking_in.plan import SURE, to_begin

if TYPE_CHECKING:
    from canebench.bench.views.ahead.calendar import Calendar
    from canebench.reeds.breaking_in.ladder import Ladder

#: So many reeds are thought of where more are to be begun.
_MOST: Final = 1000
STRAINS: Final = "Minutes are an estimate; stop where it strains, whatever a plan says."


def chance_of_need(found: Calendar) -> float | None:
    """How likely at least the needed reeds have settled by then; None where no number was asked for."""
    need = found.wanted.need
    return None if need is None else at_least(need, found.chances)


def plan_said(found: Calendar) -> tuple[str, ...]:
    """The chance of what is needed, how many make it and can be counted on; what to do where it is late."""
    said = []
    need, chance, counted = found.wanted.need, chance_of_need(found), sure_of(SURE, found.chances)
    if need is not None and chance is not None:
        reeds = "reed" if need == 1 else "reeds"
        said.append(
            f"{need} settled {reeds} by {found.wanted.by.isoformat()}: a chance of {100.0 * chance:.0f} %."
        )
    standing, *then = found.late.said
    said.append(standing)
    if found.chances:
        said.append(f"{counted} can be counted on together, {100.0 * SURE:.0f} % sure.")
    if found.settled:
        reeds = "Reed" if len(found.settled) == 1 else "Reeds"
        said.append(f"{reeds} {listed(found.settled)}: settled already, by what was read.")
    if need is not None and chance is not None and chance < SURE:
        each = math.fsum(found.chances) / len(found.chances) if found.chances else SURE
        begun = to_begin(need, each, sure=SURE, most=_MOST)
        said.append(
            f"Too few: {begun} reeds, each {100.0 * each:.0f} % sure, would make {need}, {100.0 * SURE:.0f} %"
            f" sure; {len(found.chances)} make it. Plan anew with a later date, more players or more reeds."
        )
    return (*said, *then)


def rests_on(ladder: Ladder) -> tuple[tuple[str, str, str], ...]:
    """What a plan rests on: what it is, and whether it is common practice, an estimate of ours, or told."""
    usual = ladder == USUAL_LADDER
    return (
        (
            "Sessions",
            f"{', '.join(f'{one:g}' for one in ladder.minutes)} minutes, then as long as the last",
            "that they are short and grow: common practice, no source; the minutes: an estimate"
            if usual
            else ladder.marked,
        ),
        (
            "Rest after each",
            f"{ladder.rest_h:g} hours",
            "common practice, no source; the hours: an estimate" if usual else ladder.marked,
        ),
        ("One mouth a reed", "and a rest from every other before", "hygiene; how long: an estimate"),
        (
            "A day",
            f"{USUAL_MIN:g} minutes unless told, three reeds a player, {PAUSE_MIN:g} minutes between them",
            "an estimate",
        ),
        (
            "Minutes until settled",
            "each reed's forecast, from its own readings and its lot's",
            "an estimate until there are readings",
        ),
        (
            "Sure enough",
            f"{100.0 * SURE:.0f} %, each reed for itself",
            "an estimate; too sure where the reeds of a lot are alike",
        ),
    )
