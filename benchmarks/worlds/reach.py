"""What a world's truth allows: the smallest largest deviation over seats within the limits and all tape.

For each seat the tape is sought on the truth itself: answers to a little more tape on each hole, a linear
programme over a trusted stretch about the present tape, the result kept where the truth is better for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from worlds.world import Standing, cents_at, heard_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from worlds.world import World

#: Half of a hole, as the command allows.
_TAPE_SHARE = 0.5
_SEAT_MM = 2.0
_STEP_MM = 0.25
#: What a millimetre of tape costs, cents, where there is a choice.
_PRICE_PER_MM = 0.15
#: Steps of tape by which answers are taken, and how far each is trusted: from coarse to fine, mm.
_STEPS_MM = (1.0, 0.6, 0.6, 0.4, 0.4, 0.25, 0.25, 0.12, 0.12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reachable:
    """The best that was found, cents, and where."""

    cents: float
    standing: Standing


def reachable(
    world: World,
    minute: float,
    *,
    about_mm: float = 0.0,
    travel_mm: float = _SEAT_MM,
    enough_cents: float = 0.0,
) -> Reachable:
    """Every seat step about one, each from bare holes and from some tape.

    The travel is what the command may propose at first. Where `enough_cents` can be reached, what reaches it
    with the least tape is found.
    """
    steps = int(travel_mm / _STEP_MM)
    seats = about_mm + _STEP_MM * np.arange(-steps, steps + 1)
    seats = seats[seats <= world.bottom_mm]
    most = _TAPE_SHARE * world.widths_mm
    starts = np.concatenate([np.zeros((seats.size, len(HOLES))), np.tile(0.4 * most, (seats.size, 1))])
    seats = np.tile(seats, 2)
    tape, cost = starts, _cost(world, seats, starts, minute, enough_cents)
    for step in _STEPS_MM:
        tape, cost = _improved(world, seats, tape, cost, minute, step, enough_cents)
        # The best few go on.
        keep = np.argsort(cost)[: max(4, cost.size // 2)]
        seats, tape, cost = seats[keep], tape[keep], cost[keep]
    best = int(np.argmin(cost))
    standing = Standing(seat_mm=float(seats[best]), tape_mm=tape[best])
    left = heard_cents(cents_at(world, standing, minute))
    return Reachable(cents=float(np.abs(left).max()), standing=standing)


def _cost(world: World, seats: FloatArray, tape: FloatArray, minute: float, enough: float) -> FloatArray:
    """The worst note, and the price of the tape."""
    worst = np.abs(heard_cents(world.cents(seats, tape, minute))).max(axis=1)
    return np.asarray(np.maximum(worst, enough) + _price(enough) * tape.sum(axis=1))


def _price(enough: float) -> float:
    return _PRICE_PER_MM if enough > 0 else 0.0


def _improved(
    world: World,
    seats: FloatArray,
    tape: FloatArray,
    cost: FloatArray,
    minute: float,
    step: float,
    enough: float,
) -> tuple[FloatArray, FloatArray]:
    count, holes = tape.shape
    most = _TAPE_SHARE * world.widths_mm
    way = np.where(tape + step <= most, step, -np.minimum(step, tape))
    tried = tape[:, None, :] + way[:, :, None] * np.eye(holes)
    moved = world.cents(np.repeat(seats, holes), tried.reshape(-1, holes), minute).reshape(count, holes, -1)
    now = heard_cents(world.cents(seats, tape, minute))
    answers = (heard_cents(moved) - now[:, None, :]) / np.where(way == 0, 1.0, way)[:, :, None]
    asked = np.stack([_asked(now[i], answers[i].T, tape[i], most, step, enough) for i in range(count)])
    found = _cost(world, seats, asked, minute, enough)
    better = found < cost
    return np.where(better[:, None], asked, tape), np.where(better, found, cost)


def _asked(
    now: FloatArray, answers: FloatArray, tape: FloatArray, most: FloatArray, step: float, enough: float
) -> FloatArray:
    """Minimise z with -z <= now + answers change <= z, the change within the trusted stretch."""
    ones = np.ones((len(NOTES), 1))
    trusted = 1.5 * step
    bounds = [
        (max(-trusted, -float(on)), min(trusted, float(top - on))) for on, top in zip(tape, most, strict=True)
    ]
    found = linprog(
        [*np.full(len(HOLES), _price(enough)), 1.0],
        A_ub=np.block([[answers, -ones], [-answers, -ones]]),
        b_ub=np.concatenate([-now, now]),
        bounds=[*bounds, (enough, None)],
    )
    if found.x is None:
        return tape
    return np.asarray(np.clip(tape + found.x[:-1], 0.0, most))
