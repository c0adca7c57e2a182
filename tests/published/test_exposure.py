"""Noise doses against the tables and equations of the three rules."""

from __future__ import annotations

import math

import pytest

from canebench.care.exposure import (
    Exposure,
    Spell,
    day_exposure,
    left,
    players_level_dba,
    week_exposure,
)
from canebench.care.rules import (
    EU_LIMIT,
    EU_LOWER,
    EU_UPPER,
    NIOSH,
    OSHA,
    RULES,
    reference_minutes,
    too_loud,
)
from support.datasets import published

_NIOSH = published("niosh_98_126")
_OSHA = published("osha_1910_95")
_EU = published("eu_2003_10")
_WORKED = published("noise_worked")


def _last_digit(printed: str) -> float:
    """Half a unit of the last printed digit, and a little for a value that lies on its border."""
    return 0.5001 * 10.0 ** -len(printed.partition(".")[2])


def _spells(text: str) -> list[Spell]:
    pairs = [part.split("x") for part in text.split()]
    return [Spell(level_dba=float(level), minutes=float(minutes)) for level, minutes in pairs]


def _niosh_minutes(row: dict[str, str]) -> tuple[float, float]:
    """The printed duration, and half a unit of its last part."""
    gate = _NIOSH.number("second_uncertainty_min" if row["s"] else "minute_uncertainty_min")
    return 60 * float(row["h"] or 0) + float(row["min"]) + float(row["s"] or 0) / 60, gate


@pytest.mark.parametrize("row", _NIOSH.rows, ids=[row["level_dba"] for row in _NIOSH.rows])
def test_durations_of_niosh(row: dict[str, str]) -> None:
    minutes, gate = _niosh_minutes(row)
    level_dba = float(row["level_dba"])
    assert reference_minutes(NIOSH, level_dba) == pytest.approx(minutes, abs=1.001 * gate)


def test_the_misprint_of_niosh_is_one() -> None:
    """The printed figure is off the equation that fits every other row, by five seconds."""
    ours = reference_minutes(NIOSH, _NIOSH.number("misprint_dba"))
    assert (_NIOSH.number("misprint_min") - ours) * 60 == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize("row", _OSHA.rows, ids=[row["level_dba"] for row in _OSHA.rows])
def test_durations_of_osha(row: dict[str, str]) -> None:
    hours = reference_minutes(OSHA, float(row["level_dba"])) / 60
    assert hours == pytest.approx(float(row["hours"]), abs=_last_digit(row["hours"]))


@pytest.mark.parametrize("row", _EU.rows, ids=[row["level_dba"] for row in _EU.rows])
def test_durations_at_the_limit_of_the_directive(row: dict[str, str]) -> None:
    minutes = reference_minutes(EU_LIMIT, float(row["level_dba"]))
    assert minutes == pytest.approx(float(row["limit_min"]), abs=_last_digit(row["limit_min"]))


def test_control_one_rule_does_not_fit_the_other_tables() -> None:
    """Three dB for five, or 10 log10 2 = 3.0103 for 3: the tables see even the latter."""
    seen = [
        abs(reference_minutes(EU_UPPER, float(row["level_dba"])) - _niosh_minutes(row)[0])
        > _niosh_minutes(row)[1]
        for row in _NIOSH.rows
    ]
    assert any(seen)
    assert reference_minutes(NIOSH, 100.0) / 60 != pytest.approx(2.0, abs=0.5)


def test_constants_are_those_of_the_sources() -> None:
    for rule, source in ((NIOSH, _NIOSH), (OSHA, _OSHA)):
        assert rule.eight_hours_dba == source.number("eight_hours_dba")
        assert rule.exchange_db == source.number("exchange_db")
        assert rule.ceiling_dba == source.number("ceiling_dba")
        assert not rule.weekly
    assert OSHA.average_factor == _OSHA.number("average_factor")
    for rule, key in ((EU_LOWER, "lower_dba"), (EU_UPPER, "upper_dba"), (EU_LIMIT, "limit_dba")):
        assert rule.eight_hours_dba == _EU.number(key)
        assert rule.weekly
    for rule in RULES:
        assert rule.average_factor == pytest.approx(rule.exchange_db / math.log10(2), rel=0.004)


@pytest.mark.parametrize("row", _WORKED.rows, ids=[row["spells"] for row in _WORKED.rows])
def test_worked_days(row: dict[str, str]) -> None:
    for rule, key in ((NIOSH, "niosh"), (OSHA, "osha"), (EU_LIMIT, "eu"), (EU_LOWER, "eu")):
        day = day_exposure(rule, _spells(row["spells"]))
        printed = row[f"{key}_dba"]
        assert day.average_dba == pytest.approx(float(printed), abs=_last_digit(printed))
        if percent := row.get(f"{key}_percent"):
            assert day.dose_percent == pytest.approx(float(percent), abs=_last_digit(percent))
            assert day.over == (float(percent) > 100)


def test_control_an_average_with_the_wrong_factor_is_seen() -> None:
    """16.61 for 10, or the mean of the decibels, fail the worked days."""
    row = _WORKED.rows[0]
    dose = day_exposure(NIOSH, _spells(row["spells"])).dose_percent
    gate = _last_digit(row["niosh_dba"])
    assert 16.61 * math.log10(dose / 100) + 85 != pytest.approx(float(row["niosh_dba"]), abs=gate)
    levels = [spell.level_dba for spell in _spells(_WORKED.rows[2]["spells"])]
    assert sum(levels) / 2 != pytest.approx(float(_WORKED.rows[2]["eu_dba"]), abs=gate)


def _week() -> Exposure:
    practice = Spell(level_dba=_EU.number("week_level_dba"), minutes=_EU.number("week_minutes"))
    return week_exposure(EU_LIMIT, [[practice]] * int(_EU.number("week_days")))


def test_three_practices_a_week() -> None:
    gate = _EU.number("average_uncertainty_db")
    assert _week().average_dba == pytest.approx(_EU.number("week_average_dba"), abs=gate)
    assert _week().over


def test_control_a_week_of_seven_or_three_days_is_seen() -> None:
    average_dba = _week().average_dba
    assert average_dba is not None
    for days in (7, 3):
        wrong_dba = average_dba + 10 * math.log10(5 / days)
        assert wrong_dba != pytest.approx(_EU.number("week_average_dba"), abs=1.0)


def test_nothing_is_allowed_above_the_ceiling() -> None:
    """OSHA's table goes on to 130 dB for doses; its limit ends at 115."""
    for rule, source in ((NIOSH, _NIOSH), (OSHA, _OSHA)):
        assert not too_loud(rule, source.number("ceiling_dba"))
    assert reference_minutes(OSHA, 115.0) == 15.0
    assert left(OSHA, level_dba=115.0, today=[]).today_min == 15.0
    assert left(OSHA, level_dba=116.0, today=[]).today_min == 0.0
    day = day_exposure(OSHA, [Spell(level_dba=116, minutes=1)])
    assert day.over
    assert day.over_ceiling
    assert day.dose_percent < 100
    assert left(OSHA, level_dba=90, today=[Spell(level_dba=116, minutes=1)]).today_min == 0.0


def test_what_is_left() -> None:
    """15 min at 100 dB are NIOSH's day; of the directive's week three practices leave nothing."""
    five = [Spell(level_dba=100, minutes=5)]
    assert left(NIOSH, level_dba=100, today=five).today_min == pytest.approx(10.0)
    assert left(NIOSH, level_dba=97, today=five).today_min == pytest.approx(20.0)
    assert left(NIOSH, level_dba=100, today=five).week_min is None
    once = left(EU_LIMIT, level_dba=100, today=five)
    assert once.today_min == pytest.approx(24.06 - 5, abs=0.01)
    assert once.week_min == pytest.approx(5 * 24.06 - 5, abs=0.02)
    practice = [Spell(level_dba=100, minutes=120)]
    gone = left(EU_LIMIT, level_dba=100, today=[], earlier_days=[practice] * 3)
    assert gone.today_min == pytest.approx(24.06, abs=0.01)
    assert gone.week_min == 0.0


def test_players_together() -> None:
    for players, more_db in zip(_WORKED.source["players"], _WORKED.source["players_db"], strict=True):
        gate = 1.001 * _WORKED.number("players_uncertainty_db")
        assert players_level_dba(95.0, players=players) - 95.0 == pytest.approx(more_db, abs=gate)
