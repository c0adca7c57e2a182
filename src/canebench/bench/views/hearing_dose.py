"""How much noise today and this week still hold, by three published rules.

Guarded by `tests/doors/test_care_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.care.cautions import Caution, Occasion, cautions_for
from canebench.care.exposure import Exposure, Left, Spell, day_exposure, left, players_level_dba
from canebench.care.rules import RULES, Rule

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """The level at hand, and by each rule what the day has had and still holds."""

    level_dba: float
    by_rule: tuple[tuple[Rule, Exposure, Left], ...]
    cautions: tuple[Caution, ...]


def hearing(*, level_dba: float, players: int, minutes_today: float, days_before: Sequence[float]) -> Hearing:
    """At a level (of one player at the ear) and so many equal players: dose so far, and minutes left.

    Parameters
    ----------
    level_dba : number
        One player's level at the ear, dB(A).
    players : int
        How many sound together.
    minutes_today : number
        Played so today, min.
    days_before : sequence of numbers
        Minutes on the other days of this week.
    """
    together = players_level_dba(level_dba, players=players)
    today = [Spell(level_dba=together, minutes=minutes_today)]
    earlier = [[Spell(level_dba=together, minutes=minutes)] for minutes in days_before]
    return Hearing(
        level_dba=together,
        by_rule=tuple(
            (
                rule,
                day_exposure(rule, today),
                left(rule, level_dba=together, today=today, earlier_days=earlier),
            )
            for rule in RULES
        ),
        cautions=cautions_for(Occasion.PLAY_TOGETHER if players > 1 else Occasion.PLAY_ALONE),
    )
