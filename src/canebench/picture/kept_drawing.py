"""How often ranges held that were said to be so likely: what was said along, what came up.

A point on the diagonal held as often as was said; one below it less often. Guarded by
`tests/invariants/test_kept_drawing.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.picture.axes import Axes
from canebench.picture.elements import check_id_prefix, draw, layer, write
from canebench.picture.frame import AXIS_SIZE, draw_rules
from canebench.picture.lettering import FONTS, printable, rows_apart, width_of
from canebench.picture.marks import draw_bar

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH: Final = 430.0
_LEFT, _RIGHT, _TOP, _HEIGHT = 64.0, 16.0, 30.0, 300.0
_ROW: Final = 19.0
#: What is kept free beyond 0 and 100, so that marks at the edges are whole.
_EDGE: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPoint:
    """Of ranges so likely, per cent, how many of how many held, and between what the share of them lies."""

    stated: float
    inside: int
    of: int
    low: float
    high: float


def kept_svg(
    points: Sequence[KeptPoint],
    *,
    title: str,
    description: str,
    id_prefix: str = "kept",
    of_what: str = "readings",
) -> str:
    """The picture as an SVG document; shares are per cent.

    Parameters
    ----------
    points : sequence of KeptPoint
        From the narrowest range to the widest.
    title, description : str
        What it is, and what it says, for those who do not see it.
    id_prefix : str
        Letters, digits and hyphens; differs between pictures that share a page.
    of_what : str
        What was counted, in the plural.
    """
    check_id_prefix(id_prefix)
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("aria-labelledby", f"{id_prefix}-title {id_prefix}-desc")
    root.set("font-family", FONTS)
    for tag, text in (("title", title), ("desc", description)):
        SubElement(root, tag, {"id": f"{id_prefix}-{tag}"}).text = printable(text)
    axes = Axes(
        left=_LEFT,
        right=WIDTH - _RIGHT,
        top=_TOP,
        bottom=_TOP + _HEIGHT,
        along_from=-_EDGE,
        along_to=100.0 + _EDGE,
        up_from=-_EDGE,
        up_to=100.0 + _EDGE,
        step=20,
    )
    sheet = draw(layer(root, fill="paper"), "rect", width=WIDTH)
    _frame(root, axes)
    _points(root, axes, points)
    _words(root, axes, points, of_what)
    foot = _numbers(root, axes, points)
    sheet.set("height", f"{foot:.0f}")
    root.set("viewBox", f"0 0 {WIDTH:.0f} {foot:.0f}")
    return tostring(root, encoding="unicode") + "\n"


def _frame(root: Element, axes: Axes) -> None:
    """The ground below the diagonal, lines of equal share, and the diagonal."""
    corners = ((0.0, 0.0), (100.0, 100.0), (100.0, 0.0))
    below = "M" + "L".join(f"{axes.x(along):.1f} {axes.y(up):.1f}" for along, up in corners) + "z"
    draw(layer(root, fill="band"), "path", d=below)
    draw_rules(root, axes, signed=False)
    line = layer(root, stroke="line", stroke_width=2.5)
    draw(line, "line", x1=axes.x(0.0), y1=axes.y(0.0), x2=axes.x(100.0), y2=axes.y(100.0))


def _points(root: Element, axes: Axes, points: Sequence[KeptPoint]) -> None:
    bars = layer(root, stroke="ink", stroke_width=1.8)
    marks = layer(root, fill="paper", stroke="ink", stroke_width=2.2)
    for point in points:
        if point.of:
            x = axes.x(point.stated)
            draw_bar(bars, axes, x, point.low, point.high)
            draw(marks, "circle", cx=x, cy=axes.y(100.0 * point.inside / point.of), r=5.0)


def _words(root: Element, axes: Axes, points: Sequence[KeptPoint], of_what: str) -> None:
    """What the axis and the two sides of the diagonal are, over what stands there."""
    of = max((point.of for point in points), default=0)
    words = layer(
        root, fill="quiet", stroke="paper", font_size=AXIS_SIZE, stroke_width=5, paint_order="stroke"
    )
    write(words, "% that fell inside", 8.0, axes.top - 10)
    write(words, f"of {of} {of_what}", axes.right, axes.top - 10, text_anchor="end")
    write(words, "too wide", axes.left + 4, axes.y(92.0))
    grounded = layer(root, fill="quiet", font_size=AXIS_SIZE, text_anchor="end")
    write(grounded, "too narrow", axes.x(97.0), axes.y(4.0))


def _numbers(root: Element, axes: Axes, points: Sequence[KeptPoint]) -> float:
    """Under each point what was said, and how many held; returns the height they reach down to."""
    places = [axes.x(point.stated) for point in points]
    stated = [f"{point.stated:.0f}" for point in points]
    inside = [f"{point.inside}" for point in points]
    widths = [width_of(max(pair, key=len), AXIS_SIZE) for pair in zip(stated, inside, strict=True)]
    # Where two stand too near, the second stands lower.
    rows = rows_apart(places, widths, gap=7.0)
    lines = 1 + max(rows, default=0)
    first = axes.bottom + 16
    second = first + lines * _ROW + 2
    letters = layer(root, fill="ink", font_size=AXIS_SIZE, text_anchor="middle")
    for x, row, said, held in zip(places, rows, stated, inside, strict=True):
        write(letters, said, x, first + row * _ROW)
        write(letters, held, x, second + row * _ROW)
    quiet = layer(root, fill="quiet", font_size=AXIS_SIZE)
    write(quiet, "% said", 8.0, first)
    write(quiet, "held", 8.0, second)
    return second + (lines - 1) * _ROW + 10
