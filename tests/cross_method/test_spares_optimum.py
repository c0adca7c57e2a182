"""Reeds matched to players beside every match there is, in worlds small enough to try them all."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from canebench.reeds.lots.spares import PlayerToSupply, SettledReed, Supply, supplies

_EACH = 2


def _world(seed: int) -> tuple[list[PlayerToSupply], list[SettledReed]]:
    rng = np.random.default_rng(seed)
    players = [
        PlayerToSupply(
            name=f"P{n}",
            blows_kpa=float(rng.uniform(6.5, 7.5)),
            ceiling_kpa=None if rng.random() < 0.5 else float(rng.uniform(6.8, 8.0)),
        )
        for n in range(3)
    ]
    owners = ["", "", *(one.name for one in players)]
    reeds = [
        SettledReed(number=f"{n}", playing_kpa=float(rng.uniform(6.2, 7.8)), owner=str(rng.choice(owners)))
        for n in range(6)
    ]
    return players, reeds


def _worth(players: list[PlayerToSupply], given: list[list[SettledReed]]) -> tuple[float, ...] | None:
    """How many players have one reed, two, and how near all lie; None where it is not allowed."""
    far = 0.0
    for player, reeds in zip(players, given, strict=True):
        for reed in reeds:
            off = abs(reed.playing_kpa - player.blows_kpa)
            over = player.ceiling_kpa is not None and reed.playing_kpa > player.ceiling_kpa
            if off > 0.5 or over or reed.owner not in {"", player.name}:
                return None
            far += off / 0.5 + (1.0 if reed.owner == "" else 0.0)
    return (*(sum(len(reeds) > n for reeds in given) for n in range(_EACH)), -far)


def _best(players: list[PlayerToSupply], reeds: list[SettledReed]) -> tuple[float, ...]:
    found = []
    for whose in itertools.product(range(len(players) + 1), repeat=len(reeds)):
        given: list[list[SettledReed]] = [[] for _ in range(len(players) + 1)]
        for reed, one in zip(reeds, whose, strict=True):
            given[one].append(reed)
        # The last are nobody's.
        given.pop()
        if all(len(some) <= _EACH for some in given):
            found.append(_worth(players, given))
    return max(one for one in found if one is not None)


def _reached(players: list[PlayerToSupply], found: list[Supply]) -> tuple[float, ...] | None:
    return _worth(players, [list(one.reeds) for one in found])


@pytest.mark.parametrize("seed", range(12))
def test_no_match_is_better(seed: int) -> None:
    players, reeds = _world(seed)
    found = supplies(players, reeds, each=_EACH)
    assert [one.player for one in found] == [one.name for one in players]
    assert all(len(one.reeds) + one.lacking == _EACH for one in found)
    given = [reed.number for one in found for reed in one.reeds]
    assert len(given) == len(set(given))
    assert _reached(players, found) == pytest.approx(_best(players, reeds))


def test_the_nearest_reed_for_each_in_turn_is_worse() -> None:
    """Control: what takes the nearest, player by player, loses in some of these worlds."""
    worse = 0
    for seed in range(12):
        players, reeds = _world(seed)
        left, given = list(reeds), []
        for player in players:
            mine: list[SettledReed] = []
            for reed in sorted(left, key=lambda one: abs(one.playing_kpa - player.blows_kpa)):
                if len(mine) < _EACH and _worth([player], [[reed]]) is not None:
                    mine.append(reed)
            left = [one for one in left if one not in mine]
            given.append(mine)
        worth = _worth(players, given)
        worse += worth is None or worth < tuple(one - 1e-9 for one in _best(players, reeds))
    assert worse > 0
