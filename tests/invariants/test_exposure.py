"""Doses grow with minutes and levels, add up, and levels add as energies."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.care.exposure import (
    Spell,
    day_exposure,
    left,
    players_level_dba,
    week_exposure,
)
from canebench.care.rules import NIOSH, RULES, Rule, reference_minutes

_RULES = st.sampled_from(RULES)
_WEEKLY = st.sampled_from([rule for rule in RULES if rule.weekly])
_LEVELS = st.floats(20.0, 140.0)
_SPELLS = st.lists(
    st.builds(Spell, level_dba=st.floats(40.0, 115.0), minutes=st.floats(0.0, 200.0)), max_size=6
)
_REL = 1e-9


@given(rule=_RULES, spells=_SPELLS, level_dba=_LEVELS, minutes=st.floats(0.1, 200.0))
def test_more_minutes_are_more_dose(
    rule: Rule, spells: list[Spell], level_dba: float, minutes: float
) -> None:
    before = day_exposure(rule, spells)
    after = day_exposure(rule, [*spells, Spell(level_dba=level_dba, minutes=minutes)])
    gain = 100 * minutes / reference_minutes(rule, level_dba)
    assert after.dose_percent >= before.dose_percent
    assume(gain > 1e-12 * before.dose_percent)
    assert after.dose_percent > before.dose_percent
    assert after.average_dba is not None
    assert before.average_dba is None or after.average_dba >= before.average_dba


@given(rule=_RULES, first=_SPELLS, second=_SPELLS)
def test_doses_add_up_in_any_order(rule: Rule, first: list[Spell], second: list[Spell]) -> None:
    assume(sum(spell.minutes for spell in [*first, *second]) <= 1440)
    whole = day_exposure(rule, [*first, *second])
    parts = day_exposure(rule, first).dose_percent + day_exposure(rule, second).dose_percent
    assert whole.dose_percent == pytest.approx(parts, rel=_REL)
    assert day_exposure(rule, [*second, *first]) == whole


@given(rule=_RULES, level_dba=st.floats(20.0, 130.0), minutes=st.floats(1.0, 1440.0))
def test_so_many_db_louder_for_half_the_time_is_the_same_dose(
    rule: Rule, level_dba: float, minutes: float
) -> None:
    louder = Spell(level_dba=level_dba + rule.exchange_db, minutes=minutes / 2)
    same = Spell(level_dba=level_dba, minutes=minutes)
    assert day_exposure(rule, [louder]).dose_percent == pytest.approx(
        day_exposure(rule, [same]).dose_percent, rel=_REL
    )


@given(rule=_RULES, level_dba=_LEVELS)
def test_eight_hours_at_a_level_average_to_that_level(rule: Rule, level_dba: float) -> None:
    """To the rounding of the printed factors: 10 for 9.966 at a thousand times the dose is 0.2 dB."""
    day = day_exposure(rule, [Spell(level_dba=level_dba, minutes=480)])
    gate = 1e-9 if rule.weekly else 0.0035 * abs(level_dba - rule.eight_hours_dba) + 1e-9
    assert day.average_dba == pytest.approx(level_dba, abs=gate)


@given(rule=_RULES, level_dba=_LEVELS)
def test_the_louder_the_less_is_allowed(rule: Rule, level_dba: float) -> None:
    allowed_min = left(rule, level_dba=level_dba, today=[]).today_min
    assert 0 <= allowed_min <= 1440
    assert left(rule, level_dba=min(140.0, level_dba + 1), today=[]).today_min <= allowed_min


@given(rule=_RULES, spells=_SPELLS, level_dba=st.floats(80.0, 115.0))
def test_what_is_left_fills_the_day_and_no_more(rule: Rule, spells: list[Spell], level_dba: float) -> None:
    day = day_exposure(rule, spells)
    today_min = left(rule, level_dba=level_dba, today=spells).today_min
    assert today_min >= 0
    if day.over:
        assert today_min == 0
        return
    more = min(today_min, 1440 - day.minutes)
    full = day_exposure(rule, [*spells, Spell(level_dba=level_dba, minutes=more * (1 - 1e-12))])
    assert full.dose_percent <= 100 * (1 + _REL)
    if today_min < (1440 - day.minutes) * (1 - _REL):
        assert full.dose_percent == pytest.approx(100.0, rel=1e-6)


@given(rule=_WEEKLY, day=_SPELLS, days=st.integers(0, 7))
def test_five_like_days_are_a_week_like_the_day(rule: Rule, day: list[Spell], days: int) -> None:
    week = week_exposure(rule, [day] * days)
    once = day_exposure(rule, day)
    assert week.dose_percent == pytest.approx(days / 5 * once.dose_percent, rel=_REL)
    if days == 5 and once.average_dba is not None:
        assert week.average_dba == pytest.approx(once.average_dba, abs=1e-9)


@given(rule=_WEEKLY, days=st.lists(_SPELLS, max_size=6), today=_SPELLS)
def test_earlier_days_leave_less_of_the_week_and_the_same_of_today(
    rule: Rule, days: list[list[Spell]], today: list[Spell]
) -> None:
    fresh = left(rule, level_dba=100, today=today)
    worn = left(rule, level_dba=100, today=today, earlier_days=days)
    assert worn.today_min == fresh.today_min
    assert worn.week_min is not None
    assert fresh.week_min is not None
    assert worn.week_min <= fresh.week_min


@given(level_dba=_LEVELS, players=st.integers(1, 50))
def test_twice_as_many_players_are_three_db_more(level_dba: float, players: int) -> None:
    few_dba = players_level_dba(level_dba, players=players)
    assert players_level_dba(level_dba, players=2 * players) - few_dba == pytest.approx(3.0103, abs=1e-5)


@given(rule=_RULES, spells=_SPELLS, level_dba=st.floats(20.0, 80.0))
def test_what_is_left_ends_with_the_clock(rule: Rule, spells: list[Spell], level_dba: float) -> None:
    """However quiet: a day has 1440 min, a week seven of them."""
    played_min = day_exposure(rule, spells).minutes
    rest = left(rule, level_dba=level_dba, today=spells)
    assert rest.today_min <= 1440 - played_min
    assert rest.week_min is None or rest.week_min <= 7 * 1440 - played_min
    assert left(rule, level_dba=20.0, today=[]).today_min == 1440


def test_no_playing_is_no_dose_and_no_level() -> None:
    for spells in ([], [Spell(level_dba=120, minutes=0)]):
        day = day_exposure(NIOSH, spells)
        assert (day.dose_percent, day.average_dba, day.over) == (0, None, False)


def test_quiet_spells_count_too() -> None:
    """The rules begin at 80 dB(A); we leave nothing out, so a dose is never too small."""
    assert day_exposure(NIOSH, [Spell(level_dba=79, minutes=480)]).dose_percent == pytest.approx(25.0)


@pytest.mark.parametrize(
    ("level_dba", "minutes", "said"),
    [
        (1050.0, 10.0, "level: 1050 .* from 20 to 140 .* 105 dB.A., if the decimal point slipped"),
        (-95.0, 10.0, "Nearest that works: 95 dB.A., without the minus sign"),
        (math.nan, 10.0, "level: nan was given; a number is needed"),
        (95.0, 3600.0, "minutes: 3600 min .* 60 min, if that was seconds"),
        (95.0, -5.0, "Nearest that works: 5 min, without the minus sign"),
        (95.0, math.inf, "minutes: inf was given; a number is needed"),
    ],
)
def test_impossible_spells_are_refused(level_dba: float, minutes: float, said: str) -> None:
    with pytest.raises(InputError, match=said):
        Spell(level_dba=level_dba, minutes=minutes)


def test_impossible_days_weeks_and_bands_are_refused() -> None:
    long = [Spell(level_dba=80, minutes=1000)] * 2
    eu = RULES[-1]
    with pytest.raises(InputError, match="2000 min was given; a day has 1440 min"):
        day_exposure(NIOSH, long)
    with pytest.raises(InputError, match="a day has 1440 min"):
        week_exposure(eu, [long])
    with pytest.raises(InputError, match="at most seven days"):
        week_exposure(eu, [[]] * 8)
    with pytest.raises(InputError, match="NIOSH 98-126 was given; this rule knows the day only"):
        week_exposure(NIOSH, [])
    with pytest.raises(InputError, match="from 20 to 140"):
        players_level_dba(200.0, players=2)
    for players in (0, -1, 2.5, 2000, math.nan):
        with pytest.raises(InputError, match="a whole number from 1 to 1000 is allowed"):
            players_level_dba(95.0, players=players)  # type: ignore[arg-type]
