"""Calibration plots: of central ranges from narrow to wide, how often they held the truth."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.bench.views.ahead.kept_chart import points_of
from canebench.picture.kept_drawing import kept_svg
from canebench.reeds.forecasts.reliability import reliability

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from breaking_in.score import Judged


def kept_shares(judged: Sequence[Judged]) -> str:
    """One row of the table behind a plot: of each range, the share that held, per cent."""
    held = reliability([one.place for one in judged])
    return "  ".join(f"{one.stated}:{100.0 * one.inside / max(1, one.of):.1f}" for one in held)


def write_plot(folder: Path, world: str, judged: Sequence[Judged]) -> None:
    """The plot of one world and quantity as `kept-WORLD-QUANTITY.svg`."""
    quantity = judged[0].quantity.replace("_", " ").replace(" a", " A")
    name = f"kept-{world}-{judged[0].quantity.replace('_', '-')}"
    picture = kept_svg(
        points_of(reliability([one.place for one in judged])),
        title=f"The {world} world, {quantity}: what was said two weeks before, and how often it came",
        description=f"Per cent said of a range, and per cent that held: {kept_shares(judged)}.",
        id_prefix=name,
        of_what="forecasts",
    )
    (folder / f"{name}.svg").write_text(picture, encoding="utf-8")
