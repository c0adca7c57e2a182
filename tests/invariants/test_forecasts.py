"""What must hold of any forecast, whatever the reed."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.reeds.forecasts.design import MOST_READINGS, observed
from canebench.reeds.forecasts.forecast import Ahead, forecast, forecasts
from canebench.reeds.forecasts.history import (
    QUANTITIES,
    Handling,
    MouthReading,
    PlayedSpell,
    ReedHistory,
    ReedReading,
)
from canebench.reeds.forecasts.learning.pooling import beforehand, learnt_from
from canebench.reeds.forecasts.posterior import posterior
from support.lived_reeds import FIRST, lived_reed, lot_of

if TYPE_CHECKING:
    from canebench.reeds.forecasts.design import Observed
    from canebench.reeds.forecasts.history import Quantity
    from canebench.reeds.forecasts.learning.pooling import Beforehand
    from canebench.reeds.forecasts.posterior import NodePosterior

_AHEAD = [Ahead(days=3.0, minutes=30.0), Ahead(days=14.0, minutes=150.0)]
_NOW = FIRST + timedelta(days=29)


@given(seed=st.integers(0, 400), by_mouth=st.booleans())
@settings(max_examples=25)
def test_intervals_are_nested_and_everything_is_finite(*, seed: int, by_mouth: bool) -> None:
    history, now = lived_reed(seed, by_mouth=by_mouth)
    told = forecast(history, now=now, ahead=_AHEAD)
    for place in (told.now, *told.ahead, told.settled):
        for quantity in QUANTITIES:
            one = place[quantity]
            assert one.low_95 < one.low_80 < one.median < one.high_80 < one.high_95
            assert all(math.isfinite(end) for end in (one.mean, one.sd, one.low_95, one.high_95))
    assert 0.0 <= told.settling.chance <= 1.0
    assert told.in_range("strength", -math.inf, math.inf) == pytest.approx(1.0, abs=1e-6)


def test_a_lot_together_and_each_reed_alone_are_the_same() -> None:
    """Padding to the longest changes nothing."""
    lot = lot_of(range(6))
    population = learnt_from(lot)
    together = forecasts(lot, now=_NOW, ahead=_AHEAD, population=population)
    for history, told in zip(lot, together, strict=True):
        alone = forecast(history, now=_NOW, ahead=_AHEAD, population=population)
        for quantity in QUANTITIES:
            assert alone.ahead[1][quantity].mean == pytest.approx(told.ahead[1][quantity].mean, rel=0.01)
            assert alone.ahead[1][quantity].sd == pytest.approx(told.ahead[1][quantity].sd, rel=0.02)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_what_is_learnt_of_a_reed_is_the_same_beside_one_that_was_read_more(quantity: Quantity) -> None:
    """To rounding, in one sweep, of which none can end before another's. Control: what pads, read as told."""
    lot = [
        replace(history, readings=history.readings[: 2 + 3 * place], by_mouth=history.by_mouth[:place])
        for place, history in enumerate(lot_of(range(4)))
    ]
    taught = learnt_from(lot).taught[quantity]
    before = beforehand(taught, lot, quantity)
    seen = observed(lot, quantity)
    together = _swept(seen, quantity, before)
    assert len(set(seen.told.sum(axis=1))) > 2
    for place, history in enumerate(lot):
        own = beforehand(taught, [history], quantity)
        alone, width = _swept(observed([history], quantity), quantity, own), seen.told[place].sum()
        assert together.log_evidence[place] == pytest.approx(alone.log_evidence[0], rel=1e-9, abs=1e-9)
        assert together.pull[place, :, :width] == pytest.approx(alone.pull[0], rel=1e-6, abs=1e-9)
        assert together.grip[place, :, :width, :width] == pytest.approx(alone.grip[0], rel=1e-6, abs=1e-9)
        assert not together.pull[place, :, width:].any()
        assert not together.grip[place, :, width:].any()
    padded = _swept(replace(seen, told=np.ones_like(seen.told)), quantity, before)
    assert padded.log_evidence[0] != pytest.approx(together.log_evidence[0], abs=1e-3)


def _swept(seen: Observed, quantity: Quantity, before: Beforehand) -> NodePosterior:
    return posterior(seen, quantity, before.coefficients, before.nodes, sweeps=1)


def test_the_order_of_what_is_told_does_not_matter() -> None:
    lot = lot_of(range(5))
    turned = [
        replace(one, readings=one.readings[::-1], played=one.played[::-1], handled=one.handled[::-1])
        for one in lot[::-1]
    ]
    straight = forecasts(lot, now=_NOW, population=learnt_from(lot))
    back = forecasts(turned, now=_NOW, population=learnt_from(turned))[::-1]
    for one, other in zip(straight, back, strict=True):
        assert one.now["strength"].mean == pytest.approx(other.now["strength"].mean, abs=1e-6)
        assert one.now["tilt"].sd == pytest.approx(other.now["tilt"].sd, abs=1e-6)


def test_a_reference_moved_moves_low_a_and_nothing_else() -> None:
    """Nearly: what is believed of low A before any reading is about 0, within tens of cents."""
    lot = lot_of(range(6))
    moved = [
        replace(
            one,
            readings=tuple(
                replace(r, low_a_cents=None if r.low_a_cents is None else r.low_a_cents + 10.0)
                for r in one.readings
            ),
        )
        for one in lot
    ]
    here, there = (forecasts(one, now=_NOW, population=learnt_from(one)) for one in (lot, moved))
    for one, other in zip(here, there, strict=True):
        assert other.now["low_a"].mean - one.now["low_a"].mean == pytest.approx(10.0, abs=0.5)
        assert other.now["strength"] == one.now["strength"]


def test_a_reed_does_not_teach_itself() -> None:
    """Alone in a population it is as if there were none."""
    (history,) = lot_of([3])
    taught = forecast(history, now=_NOW, population=learnt_from([history]))
    alone = forecast(history, now=_NOW)
    assert taught.now["strength"].mean == pytest.approx(alone.now["strength"].mean, abs=0.01)
    assert taught.now["low_a"].sd == pytest.approx(alone.now["low_a"].sd, rel=0.1)


def test_further_ahead_is_less_sure_and_more_readings_are_surer() -> None:
    history, now = lived_reed(2, by_mouth=False)
    told = forecast(history, now=now, ahead=[Ahead(days=d, minutes=10.0 * d) for d in (0.0, 7.0, 30.0)])
    widths = [place["tilt"].sd for place in told.ahead]
    assert widths == sorted(widths)
    fewer = forecast(replace(history, readings=history.readings[:2]), now=now)
    assert fewer.now["tilt"].sd > told.now["tilt"].sd


def test_many_readings_are_thinned_and_the_newest_stays() -> None:
    played = tuple(PlayedSpell(at=FIRST + timedelta(days=n), minutes=10.0) for n in range(90))
    readings = tuple(
        ReedReading(at=one.at + timedelta(hours=1), strength_kpa=6.0 + 0.001 * n)
        for n, one in enumerate(played)
    )
    seen = observed([ReedHistory(number="old", played=played, readings=readings)], "strength")
    assert seen.told.sum() == MOST_READINGS
    assert seen.low[0, -1] == readings[-1].strength_kpa
    assert seen.low[0, 0] == readings[0].strength_kpa


def test_no_reeds_no_forecasts_and_an_unread_reed_has_one() -> None:
    assert forecasts([], now=_NOW) == []
    assert forecast(ReedHistory(number="new"), now=_NOW).readings == 0


def test_what_cannot_be_is_refused_with_its_name() -> None:
    with pytest.raises(InputError, match="strength felt: 'harder' was given"):
        MouthReading(at=FIRST, words="harder", than_kpa=6.0)
    with pytest.raises(InputError, match="strength_kpa: -1 was given"):
        ReedReading(at=FIRST, strength_kpa=-1.0)
    with pytest.raises(InputError, match="a finite number"):
        ReedReading(at=FIRST, tilt_cents=float(np.nan))
    with pytest.raises(InputError, match="longer than nothing"):
        PlayedSpell(at=FIRST, minutes=0.0)
    with pytest.raises(InputError, match="days ahead"):
        Ahead(days=-1.0, minutes=0.0)
    with pytest.raises(InputError, match="2 plans for 1 reeds"):
        forecasts([ReedHistory(number="a")], now=_NOW, ahead=[_AHEAD, _AHEAD])
    assert Handling(at=FIRST, what="pinch").what == "pinch"
