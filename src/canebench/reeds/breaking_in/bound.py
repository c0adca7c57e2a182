"""How many reeds no plan can exceed: Lagrangian relaxation, prices found by the subgradient method.

With a price on each player's minutes, sessions and places, every reed can be placed for itself, and exactly,
by dynamic programming over its sessions and days. What that gives is never below the best plan (Geoffrion
1974, *Math. Programming Study* 2:82; Fisher 1981, *Management Science* 27:1, from memory), whatever the
prices; these are moved so that it comes down. Counts are whole, so the bound is rounded down. Guarded by
`tests/cross_method/test_break_in_optimum.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import BoolArray, FloatArray, IntArray
    from canebench.reeds.breaking_in.jobs import Job, Work

_ROUNDS: Final = 120
#: The step is halved after so many rounds without a lower bound.
_PATIENCE: Final = 10
#: Of the last direction.
_KEPT: Final = 0.7
_ROUNDING: Final = 1e-7
#: Sessions of more than a half, a third or a quarter of a day's minutes leave gaps: Fekete & Schepers 2001.
_PARTS: Final = (1, 2, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """All jobs side by side; like ones once, with their number.

    A row is a group of like reeds with one player. `lengths` has for each session and row its place among
    all lengths there are; `weights`, for each rule, length, player and day, the share of that day it takes:
    no day may hold more than 1 by any rule.
    """

    group: IntArray
    player: IntArray
    times: FloatArray
    counts: IntArray
    lengths: IntArray
    fits: BoolArray
    before: IntArray
    weights: FloatArray
    too_long: BoolArray
    caps: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prices:
    """Of a whole day by each rule, player and day, and of all a player's places."""

    day: FloatArray
    place: FloatArray


def most_possible(work: Work, placed: Sequence[int]) -> int:
    """How many reeds no plan can exceed.

    Parameters
    ----------
    work : Work
        What is to be placed.
    placed : sequence of int
        How many each player has in the plan that was found: where a bound meets that, no more is computed.

    Returns
    -------
    int
        Never below the best plan; how far it lies above what was found is the gap.
    """
    able = {reed for reed, _ in work.jobs}
    found = sum(placed)
    own = [_of_one(work, player) for player in range(len(work.days))]
    bound = min(len(able), sum(own))
    if bound <= found or not able:
        return min(bound, len(able))
    table = _table(list(work.jobs.values()), work)
    lone = _bounds(table, shared=False, target=np.array(placed, dtype=float))
    most = [min(a, _whole(b)) for a, b in zip(own, lone, strict=True)]
    bound = min(bound, sum(most))
    if bound <= found:
        return bound
    # That no player can have more than so many is true of every plan, and a sharper limit on his places.
    table = replace(table, caps=np.array(most, dtype=float))
    shared = _bounds(table, shared=True, target=np.full(1, float(found)))
    return max(found, min(bound, _whole(shared[0])))


def _of_one(work: Work, player: int) -> int:
    """Of one player: the shortest jobs until all his minutes, sessions or places are gone."""
    days = work.days[player]
    jobs = [job for (_, at), job in work.jobs.items() if at == player]
    minutes, sessions, count = sum(days.minutes), days.most * sum(one > 0 for one in days.minutes), 0
    fewest = min((len(job.lengths) for job in jobs), default=0)
    for needed in sorted(job.minutes for job in jobs):
        minutes, sessions = minutes - needed, sessions - fewest
        if minutes < -_ROUNDING or sessions < 0:
            break
        count += 1
    return min(count, work.caps[player])


def _whole(bound: float) -> int:
    return math.floor(bound + _ROUNDING)


def _table(jobs: list[Job], work: Work) -> _Table:
    """Reeds that are alike for everyone are one group; a row is a group with a player."""
    of_reed: dict[int, list[Job]] = {}
    for job in jobs:
        of_reed.setdefault(job.reed, []).append(job)
    alike: dict[tuple[tuple[int, int, tuple[float, ...]], ...], int] = {}
    for own in of_reed.values():
        key = tuple((job.player, job.first, job.lengths) for job in own)
        alike[key] = alike.get(key, 0) + 1
    rows = [(group, one, times) for group, (key, times) in enumerate(alike.items()) for one in key]
    player = np.array([one[0] for _, one, _ in rows])
    known = sorted({length for _, one, _ in rows for length in one[2]})
    lengths = np.zeros((max(len(one[2]) for _, one, _ in rows), len(rows)), dtype=np.intp)
    for row, (_, one, _) in enumerate(rows):
        lengths[: len(one[2]), row] = [known.index(length) for length in one[2]]
    first = np.array([one[1] for _, one, _ in rows])
    before = np.array([days.latest_before() for days in work.days])
    minutes = np.array([days.minutes for days in work.days])
    share = np.array(known)[:, None, None] / np.maximum(minutes, _ROUNDING)
    most = np.array([float(days.most) for days in work.days])[None, :, None]
    sessions = np.broadcast_to(1.0 / most, share.shape)
    return _Table(
        group=np.array([group for group, _, _ in rows]),
        player=player,
        times=np.array([float(times) for _, _, times in rows]),
        counts=np.array([len(one[2]) for _, one, _ in rows]),
        lengths=lengths,
        fits=np.arange(minutes.shape[1]) >= first[:, None],
        before=before[player],
        weights=np.stack([share, sessions, *(_rounded(share, parts) for parts in _PARTS)]),
        too_long=share > 1.0 + _ROUNDING,
        caps=np.array([float(cap) for cap in work.caps]),
    )


def _rounded(share: FloatArray, parts: int) -> FloatArray:
    """Shares of a day, rounded so that what fits into one still adds up to 1 at the most.

    u(k) of Fekete & Schepers 2001 (*Math. Programming* 91:11, from memory): x where (k + 1) x is whole, else
    the whole part of (k + 1) x over k.
    """
    scaled = (parts + 1) * share
    whole = np.abs(scaled - np.round(scaled)) < _ROUNDING
    return np.where(whole, share, np.floor(scaled) / parts)


def _bounds(table: _Table, *, shared: bool, target: FloatArray) -> FloatArray:
    """The lowest bounds found: one for all where each reed goes to one player, else one for each player."""
    rules, _, players, days = table.weights.shape
    prices = _Prices(day=np.zeros((rules, players, days)), place=np.zeros(players))
    way = prices
    best = np.full(1 if shared else players, np.inf)
    step, waited = np.ones(len(best)), np.zeros(len(best))
    for _ in range(_ROUNDS):
        bounds, slack = _priced(table, prices, shared=shared)
        better = bounds < best - _ROUNDING
        best = np.minimum(best, bounds)
        if np.all(np.floor(best + _ROUNDING) <= target):
            break
        waited = np.where(better, 0, waited + 1)
        step = np.where(waited >= _PATIENCE, step / 2, step)
        waited = np.where(waited >= _PATIENCE, 0, waited)
        # Camerini, Fratta & Maffioli 1975: part of the last direction is kept, against going to and fro.
        way = _Prices(day=slack.day + _KEPT * way.day, place=slack.place + _KEPT * way.place)
        square = np.sum(way.day**2, axis=(0, 2)) + way.place**2
        # Polyak's step, to what was found.
        size = step * (bounds - target) / np.maximum(square.sum() if shared else square, 1e-12)
        each = np.broadcast_to(size, players)
        prices = _Prices(
            day=np.maximum(0.0, prices.day - each[:, None] * way.day),
            place=np.maximum(0.0, prices.place - each * way.place),
        )
    return best


def _priced(table: _Table, prices: _Prices, *, shared: bool) -> tuple[FloatArray, _Prices]:
    """The bound at these prices, and how much of each thing is left: a subgradient."""
    place = prices.place / np.maximum(table.caps, 1.0)
    courses = _cheapest(table, prices.day)
    ends = courses[table.counts - 1, np.arange(len(table.player))]
    gain = 1.0 - ends.min(axis=1) - place[table.player]
    chosen = _best_rows(table, gain) if shared else np.flatnonzero(gain > 0)
    worth = table.times[chosen] * gain[chosen]
    held = prices.day.sum(axis=(0, 2)) + prices.place
    bounds = (
        np.array([held.sum() + worth.sum()])
        if shared
        else held + np.bincount(table.player[chosen], weights=worth, minlength=len(held))
    )
    return bounds, _left(table, courses, chosen)


def _cheapest(table: _Table, day: FloatArray) -> FloatArray:
    """What it costs at the least to have had each session on each day: sessions, rows, days."""
    cost = np.where(table.too_long, np.inf, np.einsum("jpd,jlpd->lpd", day, table.weights))
    found = np.full((len(table.lengths), *table.fits.shape), np.inf)
    rows = np.arange(len(table.player))[:, None]
    reach = np.where(table.fits, 0.0, np.inf)
    for number, lengths in enumerate(table.lengths):
        found[number] = reach + cost[lengths, table.player]
        so_far = np.minimum.accumulate(found[number], axis=1)
        reach = np.where(table.before >= 0, so_far[rows, table.before], np.inf)
    return found


def _best_rows(table: _Table, gain: FloatArray) -> IntArray:
    """For each group the row that gains most, the first of equals, where it gains at all."""
    order = np.lexsort((np.arange(len(gain)), -gain, table.group))
    first = np.concatenate([[True], np.diff(table.group[order]) > 0])
    rows = order[first]
    best: IntArray = rows[gain[rows] > 0]
    return best


def _left(table: _Table, courses: FloatArray, chosen: IntArray) -> _Prices:
    """Of each player's things, the share that the chosen rows leave."""
    used = np.zeros((table.weights.shape[0], *table.weights.shape[2:]))
    player, times = table.player[chosen], table.times[chosen]
    most = np.full(len(chosen), used.shape[2] - 1)
    columns, rules = np.arange(used.shape[2]), np.arange(len(used))[:, None]
    for number in range(len(table.lengths) - 1, -1, -1):
        on = table.counts[chosen] > number
        if not np.any(on):
            continue
        rows, who = chosen[on], player[on]
        open_to = columns <= most[on][:, None]
        day = np.argmin(np.where(open_to, courses[number, rows], np.inf), axis=1)
        weights = table.weights[:, table.lengths[number, rows], who, day]
        np.add.at(used, (rules, who, day), times[on] * weights)
        most[on] = table.before[rows, day]
    taken = np.bincount(player, weights=times, minlength=len(table.caps))
    return _Prices(day=1.0 - used, place=1.0 - taken / np.maximum(table.caps, 1.0))
