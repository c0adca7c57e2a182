"""Strength by gauge and by mouth. Common practice, no source, but for the arithmetic."""

from __future__ import annotations

import pytest

from canebench.base.errors import InputError
from canebench.base.uncertain import Uncertain
from canebench.reeds.strength import BY_MOUTH_KPA, Strength, against


def _kpa(value: float) -> Uncertain:
    return Uncertain(value=value, sd=0.12)


def test_playing_pressure_as_read_or_between_onset_and_choke() -> None:
    read = Strength(onset=_kpa(6.0), playing=_kpa(7.0), choke=_kpa(9.0)).playing_kpa
    between = Strength(onset=_kpa(6.0), choke=_kpa(9.0)).playing_kpa
    assert read == _kpa(7.0)
    assert between is not None
    assert between.value == pytest.approx(7.5)
    assert (between.sd or 0.0) > 0.12
    assert Strength(onset=_kpa(6.0)).playing_kpa is None


def test_by_mouth_the_words_are_in_order_and_less_sure_than_a_gauge() -> None:
    told = [against(_kpa(7.0), words) for words in ("easier", "same", "a little stronger", "much stronger")]
    assert [one.value for one in told] == sorted(one.value for one in told)
    assert all((one.sd or 0.0) > 0.12 for one in told)
    assert set(BY_MOUTH_KPA) == {"easier", "same", "a little stronger", "much stronger"}


def test_slips_are_noticed() -> None:
    with pytest.raises(InputError, match="exchanged"):
        Strength(onset=_kpa(9.0), choke=_kpa(6.0))
    with pytest.raises(InputError, match="no pressure"):
        Strength()
    with pytest.raises(InputError, match="a little stronger"):
        against(_kpa(7.0), "harder")
