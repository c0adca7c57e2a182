"""Whether the tool notices a seat that did not do as was told, and how often it asks about one that did.

Two takes in each chanter of worlds outside the model (`benchmarks/worlds`), by a careful piper; the seat is
told as moved by a half to one and a half millimetres. It was; it stayed; it went the other way. Run by
`benchmarks/run`.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fitting import Fitting
from rounds import WORLDS
from worlds.advice import with_take
from worlds.pipers import PIPERS
from worlds.world import Standing

if TYPE_CHECKING:
    from canebench.fitting.belief import Belief
    from worlds.world import World

_MOVES_MM: Final = (-1.5, -1.0, -0.5, 0.5, 1.0, 1.5)
_DONE: Final = {"moved": 1.0, "stayed": 0.0, "turned": -1.0}
#: Minutes of the two takes.
_FIRST_MIN, _SECOND_MIN = 4.0, 12.0


def after_move(world: World, told_mm: float, share: float, rng: np.random.Generator) -> Belief:
    """What is believed after a move that was told, of which `share` was done."""
    piper, bare = PIPERS["careful"], np.zeros(len(HOLES))
    missed = piper.seat_mm * rng.normal() if share else 0.0
    found = Fitting()
    for minute, told, really in ((_FIRST_MIN, 0.0, 0.0), (_SECOND_MIN, told_mm, share * told_mm + missed)):
        hz, sd_cents = piper.hears(world, Standing(seat_mm=really, tape_mm=bare), minute, rng)
        found = with_take(found, Setting(seat_mm=told), hz, sd_cents)
    return found.belief()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chanters", type=int, default=60)
    parser.add_argument("--first", type=int, default=3001)
    asked = parser.parse_args()
    print("A seat told as moved, two takes: what is asked after the second, per cent")
    print(f"  {'':15}{'it really':>10}{'of':>6}{'did it move?':>14}{'told rightly?':>15}{'nothing':>9}")
    for name, world in WORLDS.items():
        for what, share in _DONE.items():
            moves, beliefs = [], []
            for seed in range(asked.first, asked.first + asked.chanters):
                rng = np.random.default_rng([seed, 23])
                chanter, told_mm = world(seed), float(rng.choice(_MOVES_MM))
                if told_mm > 0 and told_mm > chanter.bottom_mm:
                    # On the bottom it does not do as told, whatever the hands meant.
                    continue
                moves.append(told_mm)
                beliefs.append(after_move(chanter, told_mm, share, rng))
            silent = 100.0 * np.mean([one.silent_seat for one in beliefs])
            doubtful = 100.0 * np.mean([one.doubtful for one in beliefs])
            rest = 100.0 - silent - doubtful
            print(f"  {name:15}{what:>10}{len(moves):6d}{silent:14.1f}{doubtful:15.1f}{rest:9.1f}")


if __name__ == "__main__":
    main()
