"""`benchmarks/real FOLDER`: real notes through the measurement, beside the figures asked."""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from canebench.sound.files.encode import write_recording
from real_takes.conditions import CONDITIONS
from real_takes.score import score_take
from real_takes.sources import Instrument, instruments_of, sources_in
from real_takes.spoiling import recorded
from real_takes.table import print_material, print_table, print_worst
from real_takes.takes import take_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from real_takes.score import TakeScore
    from real_takes.takes import Layout, RealTake, Tuning

_QUICK, _SEEDS = 6, 24


def main() -> None:
    options = _options()
    instruments = instruments_of(sources_in(options.folder))
    if not instruments:
        sys.exit(f"{options.folder}: no recording of a note in it")
    print_material(instruments)
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    scores: list[TakeScore] = []
    with ProcessPoolExecutor(
        options.processes, get_context("spawn"), initializer=_prepare, initargs=(instruments, options)
    ) as pool:
        for done, of_seed in enumerate(pool.map(_score_seed, seeds), 1):
            scores += of_seed
            print(f"\r{done} of {len(seeds)} seeds", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    print_table(scores, instruments)
    if options.worst:
        print_worst(scores, options.worst)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="benchmarks/real", description=__doc__)
    parser.add_argument(
        "folder", type=Path, help="isolated recordings; those with 'drone' in the name are drones"
    )
    parser.add_argument("--seeds", type=int, default=_SEEDS, help="takes a condition (%(default)s)")
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help=f"{_QUICK} takes a condition")
    parser.add_argument("--conditions", nargs="+", choices=list(CONDITIONS), default=list(CONDITIONS))
    parser.add_argument("--worst", type=int, default=0, metavar="N", help="print the N worst notes as well")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="write every take there as WAV")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    if options.quick:
        options.seeds = _QUICK
    return options


_GIVEN: dict[str, tuple[Sequence[Instrument], argparse.Namespace]] = {}


def _prepare(instruments: Sequence[Instrument], options: argparse.Namespace) -> None:
    _GIVEN["all"] = instruments, options


@lru_cache(maxsize=2)
def _take(seed: int, layout: Layout, tuning: Tuning) -> RealTake:
    return take_of(seed, _GIVEN["all"][0], layout, tuning)


def _score_seed(seed: int) -> list[TakeScore]:
    """One seed in every condition: takes that conditions share are made once."""
    options = _GIVEN["all"][1]
    scores = []
    for name in options.conditions:
        condition = CONDITIONS[name]
        take = _take(seed, condition.layout, condition.tuning)
        recording = recorded(take, condition, seed)
        if options.keep is not None:
            options.keep.mkdir(parents=True, exist_ok=True)
            write_recording(recording, options.keep / f"{name}-{seed}.wav")
        scores.append(score_take(name, condition, seed, take, recording)[0])
    return scores


if __name__ == "__main__":
    main()
