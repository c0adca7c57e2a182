"""The picture of how often forecasts held. Guarded by `tests/web/test_kept_page.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.bench.views.ahead.words import heading_of, held_between
from canebench.picture.kept_drawing import KeptPoint, kept_svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.bench.views.ahead.kept_word import Reliability
    from canebench.reeds.forecasts.reliability import LevelHeld


def points_of(levels: Sequence[LevelHeld]) -> list[KeptPoint]:
    """The points of a picture, per cent."""
    return [
        KeptPoint(
            stated=float(level.stated),
            inside=level.inside,
            of=level.of,
            low=100.0 * (level.share.low or 0.0),
            high=100.0 * (level.share.high or 0.0),
        )
        for level in levels
    ]


def draw_kept(one: Reliability) -> str:
    """The SVG of one quantity, with all its numbers as its text."""
    each = "; ".join(
        f"{level.stated} %: {level.inside} of {level.of}, {held_between(level)}" for level in one.levels
    )
    return kept_svg(
        points_of(one.levels),
        title=f"{heading_of(one.what)}: what was said, and how often it came",
        description=f"{one.said} Each range, how many fell inside, and the share’s interval: {each}.",
        id_prefix=f"kept-{one.what.replace('_', '-')}",
    )
