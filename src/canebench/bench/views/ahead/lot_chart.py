"""The picture of a lot's reeds. Guarded by `tests/web/test_lot_worth.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.picture.lot_drawing import NARROW, WIDTH, ReedBar, lot_svg

if TYPE_CHECKING:
    from canebench.bench.views.ahead.lot_worth import Worth

#: So many reeds are drawn, by number: more make bars that nobody can tell apart.
DRAWN: Final = 40


def draw_lot(worth: Worth, *, narrow: bool = False) -> str | None:
    """The SVG of a lot's reeds; None where none of them was played."""
    shown = worth.fates[:DRAWN]
    if not any(fate.minutes for fate in shown):
        return None
    return lot_svg(
        [
            ReedBar(
                number=fate.reed.number,
                minutes=fate.minutes,
                until_settled_min=fate.break_in_min,
                counts_as=fate.said,
            )
            for fate in shown
        ],
        title=f"What the reeds of lot {worth.lot.name} were played",
        description=lot_described(worth),
        width=NARROW if narrow else WIDTH,
        id_prefix="lot-narrow" if narrow else "lot-wide",
    )


def lot_described(worth: Worth) -> str:
    """The same in words; each number stands in the table of its reeds."""
    shown = worth.fates[:DRAWN]
    most = max(shown, key=lambda fate: fate.minutes)
    return (
        f"{drawn_said(worth)} Played most: reed {most.reed.number}, {most.minutes:.0f} min. "
        "Every number stands in the table."
    )


def drawn_said(worth: Worth) -> str:
    """Which reeds are drawn."""
    count = len(worth.fates)
    if count > DRAWN:
        return f"The first {DRAWN} of {count} reeds, by number: minutes played, and how each counts."
    return "Each reed: minutes played, and how it counts."
