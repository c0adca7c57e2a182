"""Onset from playing pressure: what a bench and a reed teach, what is a slip, and that the share cancels."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest

from canebench.base.errors import InputError
from canebench.base.pressure import PressureUnit, to_kpa
from canebench.reeds.forecasts.forecast import forecast
from canebench.reeds.forecasts.history import ReedHistory, ReedReading
from canebench.reeds.forecasts.playing import SaidAs, onset_share

_NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)


def test_without_a_reading_of_both_it_is_wide() -> None:
    share = onset_share([])
    assert share.readings == 0
    assert 0.7 < share.mean < 0.9
    assert share.sd > 0.08


def test_many_readings_of_both_are_believed_and_slips_are_not() -> None:
    read = [(6.3, 7.0)] * 40
    share = onset_share(read)
    assert share.mean == pytest.approx(0.9, abs=0.005)
    # Reeds still differ.
    assert share.sd == pytest.approx(0.06, abs=0.005)
    # A playing pressure typed in the wrong unit, or the two exchanged.
    assert onset_share([*read, (6.3, 70.0), (7.0, 6.3)]) == share
    # The control: what is within is not left out.
    assert onset_share([*read, (4.9, 7.0)]).mean < share.mean


def test_a_reed_read_at_both_has_a_share_of_its_own() -> None:
    bench = onset_share([(6.3, 7.0)] * 40)
    own = bench.of_reed([(5.6, 7.0)] * 4)
    assert own.mean == pytest.approx(0.8, abs=0.015)
    assert own.sd < bench.sd / 2
    assert bench.of_reed([]).mean == bench.mean


def test_nothing_blown_is_an_error_and_not_a_share() -> None:
    with pytest.raises(InputError, match="playing pressure"):
        onset_share([(5.0, 0.0)])


@pytest.mark.parametrize("share", [0.7, 0.9])
def test_a_reed_read_only_while_it_plays_is_foretold_in_that(share: float) -> None:
    """Whatever its onset: five readings of 7.5 kPa say that it plays at 7.5."""
    known = onset_share([(share * 7.0, 7.0)] * 400)
    readings = tuple(
        ReedReading(at=_NOW - timedelta(days=day), strength_kpa=known.mean * 7.5, strength_sd_kpa=0.1)
        for day in range(1, 6)
    )
    told = forecast(ReedHistory(number="1", readings=readings), now=_NOW)
    plays = known.as_playing(told.now["strength"])
    assert plays.median == pytest.approx(7.5, abs=0.15)
    # The control: known by the share alone it is less sure.
    assert known.as_playing(known.unsure(told).now["strength"]).sd > plays.sd
    assert math.isclose(plays.median, told.now["strength"].median / known.mean, rel_tol=1e-6)


def test_sentences_tell_what_it_plays_at_in_the_bands_unit() -> None:
    share = onset_share([(5.6, 7.0)] * 400)
    said = SaidAs.playing(share, PressureUnit.INH2O)
    assert said(share.mean * to_kpa(28.0, PressureUnit.INH2O)) == "28"
    assert SaidAs.playing(share, PressureUnit.KPA)(share.mean * 7.0) == "7.0"
    assert SaidAs()(to_kpa(24.0, PressureUnit.INH2O)) == "24"
