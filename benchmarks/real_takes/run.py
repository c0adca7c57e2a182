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
from real_takes.mixtures import MixtureScore, print_mixtures, score_mixtures, stretches_of
from real_takes.others import missing_others, others_on
from real_takes.score import score_take
from real_takes.soundfont import sources_of_soundfont
from real_takes.sources import Instrument, Source, instruments_of, source_at
from real_takes.spoiling import recorded
from real_takes.table import print_material, print_table, print_worst
from real_takes.takes import take_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from canebench.base.arrays import FloatArray
    from real_takes.score import TakeScore
    from real_takes.takes import RealTake, Tuning

_QUICK, _SEEDS = 6, 24
#: Mixtures are handed out in so many parts.
_PARTS = 20


def main() -> None:
    options = _options()
    with _pool(options) as pool:
        if options.soundfont is not None:
            read: Iterable[Source | str] = sources_of_soundfont(options.soundfont)
        else:
            read = pool.map(source_at, sorted(path for path in options.folder.iterdir() if path.is_file()))
        sources = []
        for one in read:
            if isinstance(one, str):
                print(one)
            else:
                sources.append(one)
    instruments = instruments_of(sources)
    if not instruments:
        sys.exit(f"{options.folder or options.soundfont}: no recording of a note in it")
    print_material(instruments)
    if options.others:
        print("\n".join(missing_others()))
    if options.mixtures:
        with _pool(options, instruments) as pool:
            first, end = options.first_seed, options.first_seed + options.mixtures
            parts = [range(first + part, end, _PARTS) for part in range(_PARTS)]
            print_mixtures([score for part in pool.map(_mixtures, parts) for score in part])
        return
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    scores: list[TakeScore] = []
    with _pool(options, instruments) as pool:
        for done, of_seed in enumerate(pool.map(_score_seed, seeds), 1):
            scores += of_seed
            print(f"\r{done} of {len(seeds)} seeds", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    print_table(scores, instruments)
    if options.worst:
        print_worst(scores, options.worst)


def _pool(options: argparse.Namespace, instruments: Sequence[Instrument] = ()) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        options.processes,
        mp_context=get_context("spawn"),
        initializer=_prepare,
        initargs=(instruments, options),
    )


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="benchmarks/real", description=__doc__)
    parser.add_argument(
        "folder", type=Path, nargs="?", help="isolated recordings; those with 'drone' in the name are drones"
    )
    parser.add_argument(
        "--soundfont", type=Path, metavar="SF2", help="its unlooped samples in place of a folder"
    )
    parser.add_argument("--others", action="store_true", help="other estimators beside, told the spans")
    parser.add_argument("--seeds", type=int, default=_SEEDS, help="takes a condition (%(default)s)")
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help=f"{_QUICK} takes a condition")
    parser.add_argument("--conditions", nargs="+", choices=list(CONDITIONS), default=list(CONDITIONS))
    parser.add_argument("--worst", type=int, default=0, metavar="N", help="print the N worst notes as well")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="write every take there as WAV")
    parser.add_argument(
        "--mixtures", type=int, default=0, metavar="N", help="N random mixtures in place of takes"
    )
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    if (options.folder is None) == (options.soundfont is None):
        parser.error("a FOLDER of recordings or --soundfont is needed")
    if options.folder is not None and not options.folder.is_dir():
        parser.error(f"{options.folder} is no folder")
    if options.quick:
        options.seeds = _QUICK
    return options


_GIVEN: dict[str, tuple[Sequence[Instrument], argparse.Namespace]] = {}


def _prepare(instruments: Sequence[Instrument], options: argparse.Namespace) -> None:
    _GIVEN["all"] = instruments, options


@lru_cache(maxsize=1)
def _stretches() -> dict[str, list[FloatArray]]:
    return stretches_of(_GIVEN["all"][0])


def _mixtures(seeds: range) -> list[MixtureScore]:
    return score_mixtures(seeds, _stretches())


@lru_cache(maxsize=3)
def _take(seed: int, layout: str, tuning: Tuning) -> RealTake:
    return take_of(seed, _GIVEN["all"][0], layout, tuning)


def _score_seed(seed: int) -> list[TakeScore]:
    """One seed in every condition: takes that conditions share are made once."""
    options = _GIVEN["all"][1]
    return [_score(seed, name, options) for name in options.conditions]


def _score(seed: int, name: str, options: argparse.Namespace) -> TakeScore:
    condition = CONDITIONS[name]
    take = _take(seed, condition.layout, condition.tuning)
    other = None
    if condition.spoilt_by == "second":
        near_hz = take.low_a_hz * 2 ** ((seed % 17 - 8) / 1200)
        other = take_of(seed + 1000, _GIVEN["all"][0], "short", "apart", low_a_hz=near_hz)
    take, recording = recorded(
        take, drones_db=condition.drones_db, spoilt_by=condition.spoilt_by, seed=seed, other=other
    )
    if options.keep is not None:
        options.keep.mkdir(parents=True, exist_ok=True)
        write_recording(recording, options.keep / f"{name}-{seed}.wav")
    asked = others_on(recording) if options.others else None
    return score_take(name, condition, seed, take, recording, asked)


if __name__ == "__main__":
    main()
