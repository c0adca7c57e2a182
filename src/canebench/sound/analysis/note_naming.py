"""Name the notes of a take jointly: one low A under all of them, and no two names out of order.

For each low A on a grid, clusters of pitches in rising order are laid on the nine notes in rising order
(dynamic programming, Bellman 1954): the cost is the square of each offset from the scale over
its usual spread, plus what is known of low A from the drones, a hint or experience. A cluster may also
stay unnamed, at a price. Note by note this could not be done: F and high G are only 84 cents apart.
Guarded by `tests/analytic/test_note_naming.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.units import cents_to_hz, hz_to_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, IntArray
    from canebench.base.scales import Scale

LOW_A_HZ = (430.0, 500.0)
_STEP_CENTS = 2.0
#: Usual spread of single notes about the scale, and how far one may be off at all.
_OFFSET_SD_CENTS, _OFFSET_MOST_CENTS = 20.0, 75.0
#: Pitches of one note closer than this are one cluster.
_SAME_CENTS = 5.0
#: Two clusters on one note: the second costs the square of their distance over this.
_REPEAT_SD_CENTS = 10.0
_UNNAMED_COST = 30.0
#: The As are what a take is made for: naming one is worth this much.
_WORTH = {LOW_A: 9.0, HIGH_A: 4.0}
_USUAL_LOW_A_HZ, _USUAL_SD_CENTS = 474.0, 120.0
#: A note that is the only one of its take is none where it is so far from the drones' own scale.
_LONE_MOST_CENTS = 60.0
_DRONE_SD_CENTS, _HINT_SD_CENTS = 25.0, 15.0
_DOUBT_COST = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """A name (or None) for each pitch given, the low A they imply (Hz), and whether another fits as well."""

    names: tuple[str | None, ...]
    low_a_hz: float
    doubtful: bool


def label(
    pitches_hz: FloatArray,
    scale: Scale,
    *,
    drones_low_a_hz: float | None,
    low_a_near_hz: float | None,
) -> Labels:
    """Name `pitches_hz` [shape=(n,), n > 0] on `scale`.

    `drones_low_a_hz` is twice the tenors' pitch where drones sound, `low_a_near_hz` the user's hint.
    """
    members = _clusters(pitches_hz)
    centre = np.array([float(np.median(pitches_hz[part])) for part in members])
    grid = _grid(low_a_near_hz)
    place = np.array([scale.cents(note) for note in NOTES])
    offset = hz_to_cents(centre, 1.0)[None, :, None] - hz_to_cents(grid, 1.0)[:, None, None] - place
    cost = np.where(np.abs(offset) <= _OFFSET_MOST_CENTS, (offset / _OFFSET_SD_CENTS) ** 2, np.inf)
    total, paths = _assign(cost, np.diff(hz_to_cents(centre, 1.0)))
    total = total + _prior(grid, drones_low_a_hz, low_a_near_hz)
    best = int(np.argmin(total))
    chosen = paths[best]
    others = total[np.any(paths != chosen, axis=1)]
    names: list[str | None] = [None] * len(pitches_hz)
    for part, index in zip(members, chosen, strict=True):
        for i in part:
            names[i] = NOTES[index] if index >= 0 else None
    low_a = _refined(float(grid[best]), centre, chosen, place)
    lone = len({name for name in names if name}) == 1
    for i, name in enumerate(names):
        # The grid's low A may have been nearer to a stray pitch than the notes' own.
        if name and abs(hz_to_cents(float(pitches_hz[i]), low_a) - scale.cents(name)) > _OFFSET_MOST_CENTS:
            names[i] = None
        elif name and lone and drones_low_a_hz is not None and low_a_near_hz is None:
            off_cents = hz_to_cents(float(pitches_hz[i]), drones_low_a_hz) - scale.cents(name)
            names[i] = name if abs(off_cents) <= _LONE_MOST_CENTS else None
    return Labels(
        names=tuple(names),
        low_a_hz=low_a,
        doubtful=bool(len(others) and np.min(others) - total[best] < _DOUBT_COST),
    )


def _clusters(pitches_hz: FloatArray) -> list[IntArray]:
    order = np.argsort(pitches_hz)
    gaps = np.diff(hz_to_cents(pitches_hz[order], 1.0))
    return list(np.split(order, np.flatnonzero(gaps > _SAME_CENTS) + 1))


def _grid(hint_hz: float | None) -> FloatArray:
    low, high = LOW_A_HZ
    if hint_hz is not None:
        # A hint may lie outside the usual range: the user knows the pipes.
        low, high = min(low, 0.97 * hint_hz), max(high, 1.03 * hint_hz)
    return cents_to_hz(np.arange(0.0, hz_to_cents(high, low) + _STEP_CENTS, _STEP_CENTS), low)


def _prior(grid: FloatArray, drones_hz: float | None, hint_hz: float | None) -> FloatArray:
    cost = (hz_to_cents(grid, _USUAL_LOW_A_HZ) / _USUAL_SD_CENTS) ** 2
    if drones_hz is not None:
        cost = (hz_to_cents(grid, drones_hz) / _DRONE_SD_CENTS) ** 2
    if hint_hz is not None:
        cost = (hz_to_cents(grid, hint_hz) / _HINT_SD_CENTS) ** 2
    return np.asarray(cost)


def _assign(cost: FloatArray, gaps_cents: FloatArray) -> tuple[FloatArray, IntArray]:
    """Cheapest rising assignment for every low A: total cost and note index (-1 unnamed) of each cluster.

    `cost` has shape (low A, clusters, notes).
    """
    grid, clusters, notes = cost.shape
    rows = np.arange(grid)
    worth = np.array([_WORTH.get(note, 0.0) for note in NOTES])
    # State s: the last named note is s - 1 (0 for none yet).
    total = np.full((grid, notes + 1), np.inf)
    total[:, 0] = 0.0
    back: list[tuple[IntArray, FloatArray]] = []
    for c in range(clusters):
        lower = np.minimum.accumulate(total, axis=1)
        lower_from = _argmin_accumulate(total)
        stay = total + _UNNAMED_COST
        rise = lower[:, :-1] + cost[:, c] - worth
        repeat = total[:, 1:] + cost[:, c]
        repeat += (gaps_cents[c - 1] / _REPEAT_SD_CENTS) ** 2 if c else np.inf
        named = np.minimum(rise, repeat)
        came = np.where(rise <= repeat, lower_from[:, :-1], np.arange(1, notes + 1))
        new = stay.copy()
        better = named < stay[:, 1:]
        new[:, 1:] = np.where(better, named, stay[:, 1:])
        origin = np.tile(np.arange(notes + 1), (grid, 1))
        origin[:, 1:] = np.where(better, came, origin[:, 1:])
        is_named = np.zeros((grid, notes + 1), dtype=bool)
        is_named[:, 1:] = better
        back.append((origin, is_named))
        total = new
    state = np.argmin(total, axis=1)
    best = total[rows, state]
    paths = np.full((grid, clusters), -1, dtype=np.intp)
    for c in range(clusters - 1, -1, -1):
        origin, is_named = back[c]
        paths[:, c] = np.where(is_named[rows, state], state - 1, -1)
        state = origin[rows, state]
    return best, paths


def _argmin_accumulate(total: FloatArray) -> IntArray:
    """Column of the running minimum along each row."""
    found = np.zeros(total.shape, dtype=np.intp)
    for column in range(1, total.shape[1]):
        last = found[:, column - 1]
        found[:, column] = np.where(total[:, column] < total[np.arange(len(total)), last], column, last)
    return found


def _refined(low_a_hz: float, centre: FloatArray, chosen: IntArray, place: FloatArray) -> float:
    """Low A as the median of what the named clusters imply."""
    named = chosen >= 0
    if not np.any(named):
        return low_a_hz
    implied = hz_to_cents(centre[named], low_a_hz) - place[chosen[named]]
    return cents_to_hz(float(np.median(implied)), low_a_hz)
