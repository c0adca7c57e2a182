"""Forecasts two weeks ahead in worlds outside the model, beside what is asked of them.

Benches of forty reeds, each read two to twelve times; seeds from 2000 on were not looked at while the model
was made; development used those from 1 on, and once those from 1000 on. Run by `benchmarks/run`, as
`python -m breaking_in.run` in its folder.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from breaking_in import fading, jumping, slowing
from breaking_in.calibration import kept_shares, write_plot
from breaking_in.score import judged_bench
from canebench.reeds.forecasts.history import QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from breaking_in.lives import Life
    from breaking_in.score import Bench, Judged
    from canebench.reeds.forecasts.history import Quantity

WORLDS: Final[dict[str, Callable[[int], list[Life]]]] = {
    "fading": fading.bench,
    "jumping": jumping.bench,
    "slowing": slowing.bench,
}
_FIRST_SEED, _BENCHES = 2000, 40
_UNITS: Final = {"strength": "kPa", "low_a": "cents", "tilt": "cents"}
_HEAD: Final = (
    f"{'':26}{'reeds':>6}{'80 %':>8}{'95 %':>8}{'width':>8}{'error':>8}{'last':>8}{'lot':>8}"
    f"{'gain':>7}{'gain':>7}{'CRPS':>8}"
)


def _bench(job: tuple[str, int]) -> Bench:
    world, seed = job
    return judged_bench(WORLDS[world](seed))


def _line(name: str, judged: Sequence[Judged]) -> str:
    """One row: how often intervals hold, half their width, and median errors beside rules of thumb."""
    share_80 = 100.0 * np.mean([one.in_80 for one in judged])
    share_95 = 100.0 * np.mean([one.in_95 for one in judged])
    error = np.median([one.error for one in judged])
    last = np.median([one.last for one in judged if one.last is not None])
    lot = np.median([one.lot for one in judged if one.lot is not None])
    marks = [
        "" if low <= share <= high else "!" for share, low, high in ((share_80, 75, 85), (share_95, 92, 98))
    ]
    width, crps = np.median([one.width_80 for one in judged]) / 2, np.mean([one.crps for one in judged])
    return (
        f"  {name:24}{len(judged):6d}{share_80:7.1f}{marks[0]:1}{share_95:7.1f}{marks[1]:1}{width:8.2f}"
        f"{error:8.2f}{last:8.2f}{lot:8.2f}{100 * (1 - error / last):6.0f}%"
        f"{100 * (1 - error / lot):6.0f}%{crps:8.3f}"
    )


def main() -> None:
    """Print the table of every world."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first-seed", type=int, default=_FIRST_SEED)
    parser.add_argument("--benches", type=int, default=_BENCHES)
    parser.add_argument("--worlds", nargs="+", default=list(WORLDS), choices=list(WORLDS))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--plots", type=Path, metavar="FOLDER", help="write the calibration plots there")
    options = parser.parse_args()
    print("Breaking in: forecasts two weeks ahead. Asked: 75 to 85 of 80 %, 92 to 98 of 95 %, ! where not;")
    print(
        "width is half of the 80 % interval; from three readings on 30 % less than the error of last and lot."
    )
    seeds = range(options.first_seed, options.first_seed + options.benches)
    with ProcessPoolExecutor(options.jobs, mp_context=get_context("spawn")) as pool:
        for world in options.worlds:
            benches = list(pool.map(_bench, [(world, seed) for seed in seeds]))
            _print_world(world, benches)
            if options.plots:
                for quantity in QUANTITIES:
                    write_plot(options.plots, world, _of(quantity, benches))


def _of(quantity: Quantity, benches: Sequence[Bench]) -> list[Judged]:
    return [one for bench in benches for one in bench.judged if one.quantity == quantity]


def _print_world(world: str, benches: Sequence[Bench]) -> None:
    print(f"\n{world}\n{_HEAD}")
    for quantity in QUANTITIES:
        mine = _of(quantity, benches)
        name = f"{quantity}, {_UNITS[quantity]}"
        print(_line(name, mine))
        print(_line("  two readings", [one for one in mine if one.readings == 2]))
        print(_line("  three and more", [one for one in mine if one.readings >= 3]))
        print(f"    said:held, %  {kept_shares(mine)}")
    together, alone = (
        np.percentile([getattr(bench, name) for bench in benches], 50) for name in ("together_s", "alone_s")
    )
    print(
        f"  processor time: a bench of 40 {together:.2f} s, one reed {1000 * alone:.0f} ms (asked 1 s, 50 ms)"
    )


if __name__ == "__main__":
    main()
