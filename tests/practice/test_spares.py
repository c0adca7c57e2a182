"""Which settled reed is whose: one's own, never above the ceiling, one for all before two for some."""

from __future__ import annotations

import pytest

from canebench.base.errors import InputError
from canebench.reeds.lots.spares import PlayerToSupply, SettledReed, supplies

_MORAG = PlayerToSupply(name="Morag", blows_kpa=7.0, ceiling_kpa=7.3)
_EFFIE = PlayerToSupply(name="Effie", blows_kpa=7.0)


def _numbers(*reeds: SettledReed, each: int = 2) -> list[list[str]]:
    return [[reed.number for reed in one.reeds] for one in supplies([_MORAG, _EFFIE], reeds, each=each)]


def test_one_for_each_comes_before_two_for_one() -> None:
    reeds = (SettledReed(number="1", playing_kpa=7.0), SettledReed(number="2", playing_kpa=7.4))
    # Both suit Effie, the first alone suits Morag.
    assert _numbers(*reeds) == [["1"], ["2"]]


def test_what_is_somebodys_is_no_one_elses() -> None:
    assert _numbers(SettledReed(number="1", playing_kpa=7.0, owner="Effie")) == [[], ["1"]]
    assert _numbers(SettledReed(number="1", playing_kpa=7.0, owner="Ewan")) == [[], []]


def test_ones_own_comes_before_nobodys() -> None:
    own = SettledReed(number="1", playing_kpa=7.2, owner="Morag")
    nobodys = SettledReed(number="2", playing_kpa=7.0)
    (found, _) = supplies([_MORAG, _EFFIE], [nobodys, own], each=1)
    assert [reed.number for reed in found.reeds] == ["1"]


def test_nothing_above_the_ceiling_or_out_of_range() -> None:
    assert _numbers(SettledReed(number="1", playing_kpa=7.35, owner="Morag")) == [[], []]
    assert _numbers(SettledReed(number="1", playing_kpa=7.29, owner="Morag")) == [["1"], []]
    assert _numbers(SettledReed(number="1", playing_kpa=6.4, owner="Morag")) == [[], []]


def test_none_and_nothing() -> None:
    assert supplies([], [SettledReed(number="1", playing_kpa=7.0)]) == []
    assert [one.lacking for one in supplies([_MORAG], [], each=3)] == [3]
    for each in (0, 6, True, 1.5):
        with pytest.raises(InputError, match="1 to 5"):
            supplies([_MORAG], [], each=each)  # type: ignore[arg-type]
