"""Who plays which settled reed, and which spares lie ready: as many players as possible with one, then two.

A reed that was somebody's stays theirs (one mouth a reed); nobody's may become anybody's. Guarded by
`tests/cross_method/test_spares_optimum.py` and `tests/practice/test_spares.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.sizes import check_count
from canebench.reeds.lots.matching import cheapest_columns
from canebench.reeds.strength import SUITS_KPA

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import BoolArray, FloatArray

#: One to play and one to fall back on: common practice, no source.
USUAL_EACH: Final = 2
_MOST_EACH: Final = 5
#: What a reed that is nobody's costs beside one's own that plays as well, as a share of `SUITS_KPA`.
_STRANGE: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerToSupply:
    """Who is to have reeds: what they blow, and must not blow past (None for no ceiling), kPa."""

    name: str
    blows_kpa: float
    ceiling_kpa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledReed:
    """A reed that is settled or spare: what it plays at, kPa, and whose it is ("" for nobody's)."""

    number: str
    playing_kpa: float
    owner: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """A player's reeds, the best match first, and how many are lacking of those that each should have."""

    player: str
    reeds: tuple[SettledReed, ...]
    lacking: int


def supplies(
    players: Sequence[PlayerToSupply], reeds: Sequence[SettledReed], *, each: int = USUAL_EACH
) -> list[Supply]:
    """Match settled reeds to players.

    Parameters
    ----------
    players, reeds : sequences
        With names and numbers of their own each.
    each : int
        How many reeds a player should have, 1 to 5.

    Returns
    -------
    list of Supply
        In the order of the players. First as many players as possible have one reed, then as many of those as
        possible two and so on; of all such matches the one whose reeds lie nearest to what is blown, one's
        own before nobody's.

    Raises
    ------
    InputError
        For a count outside that range.
    """
    check_count("reeds for each player", each, 1, _MOST_EACH)
    if not players:
        return []
    plays = np.array([reed.playing_kpa for reed in reeds])
    nobodys = np.array([reed.owner == "" for reed in reeds], dtype=bool)
    fits = _suiting(plays, nobodys, players, reeds)
    useful = [int(one) for one in np.flatnonzero(fits.any(axis=0))]
    blows = np.array([[player.blows_kpa] for player in players])
    # How far each is from what is wanted: 0 for one's own that plays at what is blown.
    apart = np.abs(plays[useful] - blows) / SUITS_KPA + np.where(nobodys[useful], _STRANGE, 0.0)
    # Every place has an empty chair of its own, dearer than all matches and all later places together.
    most = 2.0 + _STRANGE
    empty = most * len(players) * each * float(len(players) + 1) ** np.arange(each)[::-1]
    never = 10.0 * empty[0]
    cost = np.full((len(players) * each, len(useful) + len(players) * each), never)
    for place in range(each):
        rows = slice(place * len(players), (place + 1) * len(players))
        cost[rows, : len(useful)] = np.where(fits[:, useful], apart, never)
    chairs = len(useful) + np.arange(len(players) * each)
    cost[np.arange(len(players) * each), chairs] = np.repeat(empty, len(players))
    found: list[list[int]] = [[] for _ in players]
    for row, column in enumerate(cheapest_columns(cost)):
        if column < len(useful):
            found[row % len(players)].append(int(column))
    return [
        Supply(
            player=player.name,
            reeds=tuple(reeds[useful[one]] for one in sorted(found[index], key=lambda n: apart[index, n])),
            lacking=each - len(found[index]),
        )
        for index, player in enumerate(players)
    ]


def _suiting(
    plays: FloatArray,
    nobodys: BoolArray,
    players: Sequence[PlayerToSupply],
    reeds: Sequence[SettledReed],
) -> BoolArray:
    """Which reeds each may play as they are (players, reeds): near what is blown, up to the ceiling, theirs.

    A player who is not here is somebody else, and any two of those are as good as one.
    """
    places = {player.name: place for place, player in enumerate(players)}
    owners = np.array([places.get(reed.owner, len(players)) for reed in reeds], dtype=int)
    blows = np.array([[player.blows_kpa] for player in players])
    ceilings = np.array([[np.inf if one.ceiling_kpa is None else one.ceiling_kpa] for one in players])
    theirs = nobodys | (owners == np.arange(len(players))[:, None])
    near = np.abs(plays - blows) <= SUITS_KPA
    return np.asarray(near & (plays <= ceilings) & theirs)
