"""How often intervals hold, beside places that are counted by hand and SciPy's interval."""

from __future__ import annotations

import pytest
from scipy import stats

from canebench.base.errors import InputError
from canebench.reeds.forecasts.reliability import LEVELS, SURE, Bearing, LevelHeld, reliability


def _even(count: int) -> list[float]:
    """Places as a forecast leaves them that is true: spread evenly from 0 to 1."""
    return [(n + 0.5) / count for n in range(count)]


def _at(stated: int, places: list[float]) -> LevelHeld:
    return next(one for one in reliability(places) if one.stated == stated)


def test_of_a_true_forecast_each_interval_holds_as_often_as_it_says() -> None:
    for one in reliability(_even(200)):
        assert one.inside == 2 * one.stated
        assert one.bears_out is Bearing.AS_SAID


def test_too_narrow_and_too_wide_are_told_apart() -> None:
    # Twice as far from the middle as said, and half as far.
    wild = [min(1.0, max(0.0, 0.5 + 2.0 * (place - 0.5))) for place in _even(200)]
    tame = [0.5 + 0.5 * (place - 0.5) for place in _even(200)]
    assert _at(80, wild).inside == 80
    assert _at(80, wild).bears_out is Bearing.TOO_NARROW
    assert _at(80, tame).inside == 200
    assert _at(80, tame).bears_out is Bearing.TOO_WIDE


@pytest.mark.parametrize(
    ("inside", "of", "said"),
    [
        (31, 40, Bearing.AS_SAID),
        (24, 40, Bearing.TOO_NARROW),
        (39, 40, Bearing.TOO_WIDE),
        (12, 16, Bearing.TOO_FEW),
        # However far off: so few may all be of one evening.
        (0, 9, Bearing.TOO_FEW),
        (0, 10, Bearing.TOO_NARROW),
    ],
)
def test_the_interval_decides(inside: int, of: int, said: Bearing) -> None:
    found = _at(80, [0.5] * inside + [0.99] * (of - inside))
    assert (found.inside, found.of) == (inside, of)
    theirs = stats.binomtest(inside, of).proportion_ci(SURE, method="wilson")
    assert (found.share.low, found.share.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    assert found.bears_out is said


def test_ends_count_as_inside_and_places_are_chances() -> None:
    assert _at(80, [0.1, 0.9, 0.0999, 0.9001]).inside == 2
    assert [one.of for one in reliability([])] == [0] * len(LEVELS)
    with pytest.raises(InputError, match="from 0 to 1"):
        reliability([1.2])
