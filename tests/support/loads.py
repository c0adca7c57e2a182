"""How often the tests draw, cut, kill and damage: usually so often that a fault shows, or as often as ever.

`scripts/test --full-loads` asks for the whole of it; `benchmarks/faults` for as many as one likes.
"""

from __future__ import annotations

_ASKED: set[str] = set()


def load_fully() -> None:
    """From now on every test does all that it ever does; before tests are collected."""
    _ASKED.add("all")


def times(full: int, *, usual: int) -> int:
    """So often: `usual`, or `full` where full loads were asked for."""
    if not 0 < usual < full:
        raise ValueError(f"of {full} times, {usual} are no smaller load")
    return full if _ASKED else usual
