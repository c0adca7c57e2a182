"""How likely a reed has settled after so many minutes: what was said, and how often it had, outside.

A bench is known as it was after each reed's first, second or fourth reading; the rule is the usual one: over
three sessions onset moves by less than half an inch of water and low A by less than three cents. Sittings
between which a reed was pinched or set anew are left out. Run by `benchmarks/run`, as
`python -m breaking_in.settling` in its folder.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from breaking_in.run import WORLDS
from breaking_in.score import at, history_of
from canebench.reeds.forecasts.forecast import forecasts
from canebench.reeds.forecasts.learning.pooling import learnt_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from breaking_in.lives import Life, True3

#: Development looked at seeds from 100 on.
_FIRST_SEED, _BENCHES = 4000, 6
_KNOWN: Final = (1, 2, 4)
_EDGES_MIN: Final = (0.0, 30.0, 60.0, 120.0, 240.0, 2000.0)
_SESSIONS, _ONSET_INH2O, _LOW_A_CENTS = 3, 0.5, 3.0


def known_by(life: Life, readings: int) -> Life:
    """The same reed as the bench knew it after so many readings."""
    days = sorted([one.day for one in life.looks])[:readings]
    now = min(life.now, days[-1] + 0.3) if days else life.sittings[0].day - 0.5
    return replace(
        life,
        now=now,
        looks=tuple(one for one in life.looks if one.day < now),
        felt=tuple(one for one in life.felt if one.day < now),
        sittings=tuple(one for one in life.sittings if one.day < now),
        handled=tuple(one for one in life.handled if one[0] < now),
    )


def had_settled(before: True3, after: True3) -> bool:
    """By the usual rule, from before to after three sessions."""
    onset = abs(after.onset_inh2o - before.onset_inh2o) < _ONSET_INH2O
    return onset and abs(after.low_a_cents - before.low_a_cents) < _LOW_A_CENTS


def said_and_true(lives: Sequence[Life], readings: int) -> list[tuple[float, float, bool]]:
    """Of each later sitting: minutes played until then, the chance that was said, and whether it had."""
    known = [known_by(life, readings) for life in lives]
    histories = [history_of(one) for one in known]
    population = learnt_from(histories)
    found = []
    for life, then, history in zip(lives, known, histories, strict=True):
        (told,) = forecasts([history], now=at(then.now), population=population)
        minutes, chances = zip(*told.settling.curve, strict=True)
        sittings = [*life.sittings, *life.planned]
        played = np.cumsum([one.minutes for one in sittings])
        done = len(then.sittings)
        for place in range(max(_SESSIONS, done), len(sittings)):
            first, last = sittings[place - _SESSIONS].day, sittings[place].day
            if any(first < day < last for day, _ in life.handled):
                continue
            more = float(played[place] - (played[done - 1] if done else 0.0))
            true = had_settled(life.course[place - _SESSIONS], life.course[place])
            found.append((more, float(np.interp(more, minutes, chances)), true))
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first-seed", type=int, default=_FIRST_SEED)
    parser.add_argument("--benches", type=int, default=_BENCHES)
    asked = parser.parse_args()
    spans = [f"{low:.0f} to {high:.0f}" for low, high in pairwise(_EDGES_MIN)]
    print("Settled by then: per cent said, and per cent that had, by minutes played since")
    print(f"  {'':28}" + "".join(f"{span:>14}" for span in spans) + f"{'Brier':>8}")
    for name, world in WORLDS.items():
        for readings in _KNOWN:
            rows = [
                one
                for seed in range(asked.first_seed, asked.first_seed + asked.benches)
                for one in said_and_true(world(seed), readings)
            ]
            more, said, true = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
            cells = ""
            for low, high in pairwise(_EDGES_MIN):
                here = (more >= low) & (more < high)
                cells += f"{100 * said[here].mean():7.0f}{100 * true[here].mean():7.0f}"
            read = "one reading" if readings == 1 else f"{readings} readings"
            print(f"  {name:12}{read:16}{cells}{np.mean((said - true) ** 2):8.3f}")


if __name__ == "__main__":
    main()
