"""Lives beside SciPy's product-limit estimate, with its log(−log) intervals."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from canebench.reeds.lots.lives import ReedLife, life_curve, median_difference

_LIVES = st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=30)


def _reeds(told: list[tuple[int, bool]]) -> list[ReedLife]:
    return [ReedLife(reed=str(n), lived=float(t), ended=e) for n, (t, e) in enumerate(told)]


@settings(deadline=None)
@given(_LIVES)
def test_any_lot_has_the_curve_and_the_ends_that_scipy_gives(told: list[tuple[int, bool]]) -> None:
    curve = life_curve(_reeds(told), covers=0.9)
    ended = [float(t) for t, e in told if e]
    if not ended:
        assert curve.steps == ()
        assert math.isnan(curve.median.value)
        return
    sample = stats.CensoredData(uncensored=ended, right=[float(t) for t, e in told if not e])
    theirs = stats.ecdf(sample).sf
    at = [step.lived for step in curve.steps]
    assert [step.still.value for step in curve.steps] == pytest.approx(theirs.evaluate(at), abs=1e-12)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # it has none at 0 either, and says so
        ends = theirs.confidence_interval(confidence_level=0.9, method="log-log")
    for step in curve.steps:
        if step.still.low is not None:
            assert step.still.low == pytest.approx(float(ends.low.evaluate(step.lived)), abs=1e-9)
            assert step.still.high == pytest.approx(float(ends.high.evaluate(step.lived)), abs=1e-9)


def test_the_interval_of_two_medians_holds_the_truth_about_as_often_as_it_says() -> None:
    """Two lots of thirty from exponential lives that stop being watched: 200 times, at 90 %."""
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(200):
        lots = []
        for scale in (40.0, 25.0):
            lived, watched = rng.exponential(scale, 30), rng.uniform(20.0, 120.0, 30)
            lots.append(
                [
                    ReedLife(reed=str(n), lived=float(min(a, b)) + 1e-6, ended=bool(a <= b))
                    for n, (a, b) in enumerate(zip(lived, watched, strict=True))
                ]
            )
        found = median_difference(*lots, draws=300)
        true = math.log(2) * 15.0
        held += (found.low is None or found.low <= true) and (found.high is None or true <= found.high)
    # Three standard deviations of a count of 200 at 0.9 are 13; the bootstrap itself is said to be rough.
    assert 200 * 0.9 - 13 <= held <= 200 * 0.9 + 18


def test_lots_too_young_to_have_a_median_say_so() -> None:
    young = _reeds([(5, False)] * 4)
    found = median_difference(young, _reeds([(3, True)] * 4))
    assert math.isnan(found.value)
    assert found.high is None
