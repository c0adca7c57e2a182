"""The bore cut along its middle, reed end up, with its widths and the places of the holes, to one scale.

Guarded by `tests/invariants/test_bore_drawing.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.base.uncertain import number
from canebench.picture.elements import draw, layer, write
from canebench.picture.lettering import FONTS, printable, spread_out

if TYPE_CHECKING:
    from collections.abc import Sequence

UNITS_PER_MM: Final = 2.4
WIDTH: Final = 320.0
_AXIS: Final = 140.0
_EDGE: Final = 14.0
_SIZE: Final = 20.0
_ROW: Final = 22.0
_BESIDE: Final = 10.0
#: So many widths are written beside the bore at most: ends and between.
_MOST: Final = 9


def bore_svg(
    profile_mm: Sequence[tuple[float, float]], holes: Sequence[tuple[str, float]], *, title: str
) -> str:
    """The drawing as an SVG document.

    `profile_mm` are (distance from the throat, diameter), at least two, from the throat down; `holes` are
    (name, distance from the throat).
    """
    length = profile_mm[-1][0]
    widest = max(diameter for _, diameter in profile_mm) / 2 * UNITS_PER_MM
    bottom = _EDGE + length * UNITS_PER_MM
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("viewBox", f"0 0 {WIDTH:.0f} {bottom + _EDGE + _ROW:.0f}")
    root.set("aria-labelledby", "bore-title")
    root.set("font-family", FONTS)
    SubElement(root, "title", {"id": "bore-title"}).text = printable(title)
    right = [(_AXIS + width / 2 * UNITS_PER_MM, _EDGE + at * UNITS_PER_MM) for at, width in profile_mm]
    left = [(2 * _AXIS - x, y) for x, y in reversed(right)]
    outline = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in (*right, *left)) + "z"
    draw(layer(root, fill="band"), "path", d=outline)
    for side in (right, left):
        path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in side)
        draw(layer(root, stroke="ink", stroke_width=1.3), "path", d=path)
    _names(root, holes, edge=_AXIS - widest - _BESIDE)
    _widths(root, profile_mm, edge=_AXIS + widest + _BESIDE)
    return tostring(root, encoding="unicode")


def _names(root: Element, holes: Sequence[tuple[str, float]], *, edge: float) -> None:
    """Each hole's name at the left, with a line across the bore at its middle."""
    heights = [_EDGE + at * UNITS_PER_MM for _, at in holes]
    lines = layer(root, stroke="zero", stroke_width=1.0, stroke_dasharray="3 3")
    letters = layer(root, fill="ink", font_size=_SIZE, text_anchor="end")
    for (name, _), y, placed in zip(holes, heights, spread_out(heights, _ROW), strict=True):
        draw(
            lines, "path", d=f"M{edge + 2:.1f} {placed:.1f}L{edge + 8:.1f} {y:.1f}H{2 * _AXIS - edge - 8:.1f}"
        )
        write(letters, name, edge, placed + 7)


def _widths(root: Element, profile_mm: Sequence[tuple[float, float]], *, edge: float) -> None:
    """Widths at the right: all of them, or the ends and some between."""
    last = len(profile_mm) - 1
    chosen = (
        sorted({round(i * last / (_MOST - 1)) for i in range(_MOST)}) if last >= _MOST else range(last + 1)
    )
    points = [profile_mm[i] for i in chosen]
    heights = [_EDGE + at * UNITS_PER_MM for at, _ in points]
    ticks = layer(root, stroke="quiet", stroke_width=0.8)
    letters = layer(root, fill="quiet", font_size=_SIZE)
    for (_, width), y, placed in zip(points, heights, spread_out(heights, _ROW), strict=True):
        wall = _AXIS + width / 2 * UNITS_PER_MM
        draw(ticks, "path", d=f"M{wall + 2:.1f} {y:.1f}L{edge + 2:.1f} {placed:.1f}")
        write(letters, f"{number(width, 1)} mm", edge + 5, placed + 7)
