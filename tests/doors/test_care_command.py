"""`canebench care`: the library's numbers reach the reader, with their cautions."""

from __future__ import annotations

import json

import pytest

from canebench.care.rules import RULES
from doors.run import run


def test_the_worked_example_of_the_rules() -> None:
    """100 dB(A) for two hours: NIOSH 800 %, OSHA 100 % (both rules' own formulas)."""
    result = run("care", "--level", "100", "--minutes", "120", "--json")
    found = {one["rule"]: one for one in json.loads(result.stdout)["rules"]}
    assert len(found) == len(RULES)
    doses = sorted(round(one["dose_percent"]) for one in found.values())
    assert 100 in doses
    assert any(795 <= dose <= 805 for dose in doses)
    assert all(one["left_today_min"] == 0 for one in found.values() if one["dose_percent"] >= 100)


def test_more_players_leave_less_time() -> None:
    alone, band = (
        json.loads(run("care", "--level", "95", "--players", players, "--json").stdout)
        for players in ("1", "10")
    )
    assert band["level_dba"] == pytest.approx(alone["level_dba"] + 10)
    for one, many in zip(alone["rules"], band["rules"], strict=True):
        assert many["left_today_min"] <= one["left_today_min"]


def test_the_page_says_local_rules_come_first() -> None:
    page = " ".join(run("care", "--level", "104", "--minutes", "30", "--before", "60").stdout.split())
    assert "left this week" in page
    assert "Local rules" in page


@pytest.mark.parametrize("arguments", [["--level", "400"], ["--level", "100", "--minutes", "-1"]])
def test_impossible_noise_is_refused(arguments: list[str]) -> None:
    assert run("care", *arguments).exit_code == 4
