"""The curve of lives beside the worked example that texts print."""

from __future__ import annotations

import pytest

from canebench.reeds.lots.lives import ReedLife, life_curve, median_difference
from support.datasets import published

_SET = published("remission_6mp")


def _lives(key: str, *, ended: bool) -> list[ReedLife]:
    return [
        ReedLife(reed=f"{key} {place}", lived=float(weeks), ended=ended)
        for place, weeks in enumerate(_SET.source[key])
    ]


_DRUG = [*_lives("lives", ended=True), *_lives("still_playing", ended=False)]
_PLACEBO = _lives("placebo", ended=True)


def test_every_step_is_the_printed_one() -> None:
    curve = life_curve(_DRUG, covers=0.95)
    assert (curve.reeds, curve.ended) == (21, 9)
    assert [step.lived for step in curve.steps] == _SET.column("week")
    assert [step.at_risk for step in curve.steps] == _SET.column("at_risk")
    assert [step.ended for step in curve.steps] == _SET.column("ended")
    close = _SET.number("four_decimals")
    told = {
        "share": ([step.still.value for step in curve.steps], _SET.number("share_uncertainty")),
        "sd": ([step.sd for step in curve.steps], close),
        "low": ([step.still.low for step in curve.steps], close),
        "high": ([step.still.high for step in curve.steps], close),
    }
    for key, (found, allowed) in told.items():
        assert found == pytest.approx(_SET.column(key), abs=allowed), key


def test_the_medians_are_the_printed_ones_and_the_groups_differ() -> None:
    assert life_curve(_DRUG).median.value == _SET.number("median_weeks")
    assert life_curve(_PLACEBO).median.value == _SET.number("placebo_median_weeks")
    between = median_difference(_DRUG, _PLACEBO)
    assert between.value == 15.0
    assert between.low is not None
    assert between.low > 0.0


def test_control_to_take_those_in_remission_for_ended_is_seen() -> None:
    """Without censoring the curve falls too far."""
    all_ended = [ReedLife(reed=one.reed, lived=one.lived, ended=True) for one in _DRUG]
    assert life_curve(all_ended).still(23.0) < 0.448 - 0.1
