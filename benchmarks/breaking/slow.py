"""A disk so slow that acts take seconds, under a bench that is served, read and killed."""

from __future__ import annotations

import statistics
from typing import TYPE_CHECKING, Final

from breaking.line import Line
from support.slow_bench import Speed, outcome_of

if TYPE_CHECKING:
    from pathlib import Path

#: Each write and sync of SQLite, s.
_SLOW: Final = Speed(least_s=0.05, most_s=0.5)
#: For a short look: acts take tenths of seconds.
_SHORT: Final = Speed(least_s=0.005, most_s=0.05)
_FEW: Final = 20


def slow_disk(folder: Path, *, count: int, seed: int) -> Line:
    """Acts by two writers, pages by a reader, of a bench on a slow disk that is killed after every eight."""
    speed = _SHORT if count < _FEW else _SLOW
    found = outcome_of(folder, speed, acts=count, seed=seed)
    acts, pages = found.seen.acts_s, found.seen.pages_s
    return Line(
        kind="slow",
        count=count,
        bad={
            "acts lost": found.lost,
            "twice": found.twice,
            "told wrongly": found.lies,
            "damages": found.damages,
            "pages late or untold": len(found.seen.amiss),
        },
        seen={
            "pages": len(pages),
            "told to come later": found.seen.pages_told,
            "s a write or sync": f"{speed.least_s:g} to {speed.most_s:g}",
            "s an act, median": f"{statistics.median(acts):.1f}",
            "s the slowest page": f"{max(pages, default=0):.1f}",
        },
        worst=tuple(found.seen.amiss),
    )
