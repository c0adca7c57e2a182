"""How much of the loud playing that a day and a week hold is used up, and what is left.

Levels are A-weighted, at the ear, steady over a spell. Every spell counts, also below the 80 dB(A) from which
NIOSH and OSHA begin: the dose is never less than theirs. It tells what published rules for work
say, and is no medical advice. Guarded by `tests/published/test_exposure.py` and
`tests/invariants/test_exposure.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.sizes import MINUS, Range, is_finite, said
from canebench.care.rules import (
    CLOCK_DAY_MIN,
    EU_LIMIT,
    LEVEL,
    Rule,
    reference_minutes,
    too_loud,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

#: The directive's week has five days of eight hours; the clock's has seven.
_NOMINAL_DAYS: Final = 5
_CALENDAR_WEEK_DAYS: Final = 7
_MINUTES: Final = Range(
    low=0.0,
    high=CLOCK_DAY_MIN,
    usual=60.0,
    unit="min",
    slips=(MINUS, (1 / 60, "if that was seconds")),
)
_MOST_PLAYERS: Final = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """So many minutes at one level; it checks itself. Guarded by `tests/invariants/test_exposure.py`.

    Attributes
    ----------
    level_dba : float
        A-weighted level at the ear, 20 to 140 dB(A).
    minutes : float
        How long, 0 to 1440 min.

    Raises
    ------
    InputError
        For a level or a time that cannot be, with the likely slip.
    """

    level_dba: float
    minutes: float

    def __post_init__(self) -> None:
        LEVEL.check("level", self.level_dba)
        _MINUTES.check("minutes", self.minutes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """What spells add up to by one rule, over a day or a week. Guarded by `tests/published/test_exposure.py`.

    Attributes
    ----------
    rule : Rule
        By which it was reckoned.
    minutes : float
        Of all spells together, min.
    dose_percent : float
        100 is all that the rule allows over this time, 0 nothing.
    average_dba : float or None
        The day's eight-hour average (TWA or L_EX,8h) or the week's (L_EX,40h), dB(A); None for no noise.
    over_ceiling : bool
        Whether a spell was louder than the rule allows for any time at all.
    """

    rule: Rule
    minutes: float
    dose_percent: float
    average_dba: float | None
    over_ceiling: bool

    @property
    def over(self) -> bool:
        """Whether the rule is broken: more than the whole dose, or a spell above the ceiling."""
        return self.over_ceiling or self.dose_percent > 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """How many more minutes at a level, min. Guarded by `tests/published/test_exposure.py`.

    Attributes
    ----------
    level_dba : float
        The level they are for, dB(A).
    today_min : float
        What the day still holds, by the rule and by the clock (1440 min), 0 when it is full.
    week_min : float or None
        What the week still holds, likewise; None where the rule has no week.
    """

    level_dba: float
    today_min: float
    week_min: float | None


def day_exposure(rule: Rule, spells: Sequence[Spell]) -> Exposure:
    """Dose and eight-hour average of one day's spells.

    D = 100 sum C/T (NIOSH 98-126, section 1.1; 1910.95, appendix A, I(1)(ii)); the average is
    factor x log10(D/100) + L8h (the same, I(2)). For 2003/10/EC this is
    L_EX,8h = 10 log10(sum of (C/480) 10^(L/10)), ISO 1999:1990, 3.6.

    Guarded by `tests/published/test_exposure.py` and `tests/invariants/test_exposure.py`.

    Raises
    ------
    InputError
        When the spells together are longer than a day.
    """
    return _total(rule, spells, days=1)


def week_exposure(rule: Rule, days: Sequence[Sequence[Spell]]) -> Exposure:
    """Dose and average of a week: the mean of L_EX,8h over five nominal days (L_EX,40h).

    Directive 2003/10/EC, art. 2(c), after ISO 1999:1990, 3.6 (note 2):
    L_EX,40h = 10 log10(1/5 sum of 10^(L_EX,8h / 10)). The week is allowed in place of the day only where
    days differ much, and 87 dB(A) must hold (art. 3(3)).

    Guarded by `tests/published/test_exposure.py` and `tests/invariants/test_exposure.py`.

    Parameters
    ----------
    rule : Rule
        One that has a week.
    days : up to seven lists of spells
        A day without playing may be left out.

    Raises
    ------
    InputError
        For a rule without a week, more than seven days, or a day of more than 1440 min.
    """
    if not rule.weekly:
        raise InputError(
            field="rule",
            given=rule.name,
            allowed="this rule knows the day only; a week is for the EU's",
            nearest=EU_LIMIT.name,
        )
    if len(days) > _CALENDAR_WEEK_DAYS:
        raise InputError(
            field="days",
            given=f"{len(days)}",
            allowed="a week of at most seven days is needed",
            nearest="the last seven",
        )
    for day in days:
        _check_day(day)
    return _total(rule, [spell for day in days for spell in day], days=_NOMINAL_DAYS)


def left(
    rule: Rule,
    *,
    level_dba: float,
    today: Sequence[Spell],
    earlier_days: Sequence[Sequence[Spell]] = (),
) -> Left:
    """How many more minutes at `level_dba` today and this week hold, by one rule.

    (1 - D/100) T for the day, five times that for the week, since its dose is a mean over five days; both cut
    at what the clock has left. Which of the two binds is for local rules to say; the smaller is the safer.

    Guarded by `tests/published/test_exposure.py` and `tests/invariants/test_exposure.py`.

    Parameters
    ----------
    rule : Rule
        By which to reckon.
    level_dba : float
        Of what is still to be played, 20 to 140 dB(A).
    today : list of Spell
        What was played today.
    earlier_days : up to six lists of Spell
        The other days of this week.

    Raises
    ------
    InputError
        For a level or a day that cannot be.
    """
    day = day_exposure(rule, today)
    today_min = _rest(day, level_dba, days=1, clock_min=CLOCK_DAY_MIN - day.minutes)
    if not rule.weekly:
        return Left(level_dba=level_dba, today_min=today_min, week_min=None)
    week = week_exposure(rule, [*earlier_days, today])
    clock_min = _CALENDAR_WEEK_DAYS * CLOCK_DAY_MIN - week.minutes
    week_min = _rest(week, level_dba, days=_NOMINAL_DAYS, clock_min=clock_min)
    return Left(level_dba=level_dba, today_min=today_min, week_min=week_min)


def players_level_dba(level_dba: float, *, players: int) -> float:
    """Level of `players` equally loud players, each `level_dba` alone: L + 10 log10 N, dB(A).

    Energies add for sources that do not keep step with each other (definition of the level, ISO 80000-8), as
    pipes in a room do; near a player, their own pipes outweigh what this adds. 20 to 140 dB(A) and 1 to 1000
    players, else `InputError`. Guarded by `tests/published/test_exposure.py`.
    """
    LEVEL.check("level", level_dba)
    if not is_finite(players) or players not in range(1, _MOST_PLAYERS + 1):
        raise InputError(
            field="players",
            given=said(players),
            allowed=f"a whole number from 1 to {_MOST_PLAYERS} is allowed",
        )
    return level_dba + 10.0 * math.log10(players)


def _check_day(spells: Sequence[Spell]) -> None:
    minutes = math.fsum(spell.minutes for spell in spells)
    if minutes > CLOCK_DAY_MIN:
        raise InputError(
            field="minutes of one day",
            given=f"{minutes:g} min",
            allowed=f"a day has {CLOCK_DAY_MIN:g} min",
            nearest="the same spells on the days they belong to",
        )


def _total(rule: Rule, spells: Sequence[Spell], *, days: int) -> Exposure:
    """Dose over `days` nominal days: 100 means a whole day's dose on each."""
    if days == 1:
        _check_day(spells)
    parts = [spell.minutes / reference_minutes(rule, spell.level_dba) for spell in spells]
    dose = math.fsum(parts) / days
    average_dba = rule.average_factor * math.log10(dose) + rule.eight_hours_dba if dose > 0 else None
    return Exposure(
        rule=rule,
        minutes=math.fsum(spell.minutes for spell in spells),
        dose_percent=100.0 * dose,
        average_dba=average_dba,
        over_ceiling=any(spell.minutes > 0 and too_loud(rule, spell.level_dba) for spell in spells),
    )


def _rest(so_far: Exposure, level_dba: float, *, days: int, clock_min: float) -> float:
    """Minutes at `level_dba` until the dose is 100 %, not beyond the clock."""
    reference_min = reference_minutes(so_far.rule, level_dba)
    if so_far.over_ceiling or too_loud(so_far.rule, level_dba):
        return 0.0
    return max(0.0, min((1.0 - so_far.dose_percent / 100.0) * days * reference_min, clock_min))
