"""The advice in worlds outside the model, followed by pipers who err: what four rounds come to.

Worlds (`benchmarks/worlds`) share no code and no form with the model of the bore and are not drawn from its
priors; the command's own defaults and tolerances are used. In each round the acts shown are done, four at
most, and the next take is played. Every chanter is begun as it came, and those that can be set in tune are
begun in tune as well. Run by `benchmarks/run`.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from worlds.advice import advice_after
from worlds.figures import Hour, lines
from worlds.hour import ROUNDS, fitting_hour
from worlds.knowing import Knowing
from worlds.maker import resonant_reed
from worlds.per_note import per_note
from worlds.perverse import perverse
from worlds.pipers import PIPERS
from worlds.reach import reachable
from worlds.world import Standing

if TYPE_CHECKING:
    from collections.abc import Callable

    from worlds.world import World

WORLDS: Final[dict[str, Callable[[int], World]]] = {
    "per_note": per_note,
    "perverse": perverse,
    "resonant_reed": resonant_reed,
}
#: What can be reached is asked of the reed as it is in the middle of the rounds.
_MIDDLE_MIN: Final = 20.0
_FIRST_MIN: Final = 4.0
#: A chanter begins in tune where every note can be brought this near, cents, and is.
_IN_TUNE_CENTS: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One chanter of a world, and the pipers who try it."""

    world: str
    pipers: tuple[str, ...]
    seed: int
    most_acts: int
    knowing: bool


def tried(trial: Trial) -> dict[str, list[Hour]]:
    """By piper: the hour as the chanter came, and one begun in tune where that can be."""
    world = WORLDS[trial.world](trial.seed)
    best = reachable(world, _MIDDLE_MIN)
    # The same chanter at the first take, about the same seat.
    at_once = reachable(world, _FIRST_MIN, about_mm=best.standing.seat_mm, travel_mm=0.5)
    starts = [(False, Standing(seat_mm=0.0, tape_mm=np.zeros(len(HOLES))))]
    if at_once.cents <= _IN_TUNE_CENTS:
        starts.append((True, at_once.standing))
    return {
        name: [
            Hour(
                seed=trial.seed,
                reachable=best.cents,
                began_in_tune=began,
                rounds=tuple(
                    fitting_hour(
                        world,
                        PIPERS[name],
                        start,
                        np.random.default_rng([trial.seed, 17, began]),
                        adviser=Knowing(world=world, began=start)
                        if trial.knowing
                        else lambda fitting, _minute: advice_after(fitting),
                        most_acts=trial.most_acts,
                        rounds=1 if began else ROUNDS,
                    )
                ),
            )
            for began, start in starts
        ]
        for name in trial.pipers
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chanters", type=int, default=48)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--world", choices=sorted(WORLDS), help="one world alone")
    parser.add_argument("--piper", choices=sorted(PIPERS), help="one piper alone")
    parser.add_argument("--acts", type=int, default=4, help="how many acts of a plan are done before a take")
    parser.add_argument("--knowing", action="store_true", help="advice by one who knows how it answers")
    parser.add_argument("--chanter-by-chanter", action="store_true", help="print every hour as well")
    arguments = parser.parse_args()
    pipers = (arguments.piper,) if arguments.piper else ("careful", "erring")
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for world in (arguments.world,) if arguments.world else tuple(WORLDS):
            started = time.perf_counter()
            trials = [
                Trial(
                    world=world, pipers=pipers, seed=seed, most_acts=arguments.acts, knowing=arguments.knowing
                )
                for seed in range(arguments.first, arguments.first + arguments.chanters)
            ]
            found = list(pool.map(tried, trials, chunksize=2))
            for piper in pipers:
                _print(world, piper, [hour for one in found for hour in one[piper]])
                if arguments.chanter_by_chanter:
                    _print_hours([hour for one in found for hour in one[piper]])
            print(f"  ({time.perf_counter() - started:.0f} s)\n", flush=True)


def _print(world: str, piper: str, hours: list[Hour]) -> None:
    came = sum(not hour.began_in_tune for hour in hours)
    print(f"{world}, {piper} piper: {came} chanters as they came, {len(hours) - came} begun in tune")
    for line in lines(hours):
        print(line.text, flush=True)


def _print_hours(hours: list[Hour]) -> None:
    for hour in hours:
        course = ", ".join(
            f"{one.kind} {one.acts} ({one.seat_mm:+.2f} mm) {one.worst_before:.1f} to {one.worst_after:.1f}"
            for one in hour.rounds
        )
        begun = "in tune" if hour.began_in_tune else "as it came"
        print(f"    chanter {hour.seed}, {begun}, reachable {hour.reachable:.1f}: {course}")


if __name__ == "__main__":
    main()
