"""Where the tape goes: the chanter from the front, its eight holes to scale, the tape on them.

Front view, reed end up, cut off above the first hole and below the last. The thumb's hole is at the back and
drawn in dashes. What is there is drawn in full, what is planned dotted. Hatching, a bold edge and words carry
the meaning, so it prints in black and white. Guarded by `tests/invariants/test_tape_drawing.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.base.errors import InputError
from canebench.base.uncertain import number
from canebench.picture.elements import check_id_prefix, draw, layer, write
from canebench.picture.lettering import FONTS, printable, spread_out, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Units of the picture for a millimetre of the chanter.
UNITS_PER_MM: Final = 2.4
WIDTH: Final = 214.0
_AXIS: Final = 44.0
_LABELS: Final = 84.0
_TEXT_SIZE: Final = 14.0
_SMALL_SIZE: Final = 11.5
_ROW: Final = 17.0
_EDGE: Final = 6.0
#: What is drawn of the chanter above the first hole and below the last, mm.
_BEYOND_MM: Final = 11.0
#: Outside of the chanter at the two ends of the drawing, mm: any turned chanter's, not a measured one's.
_OUTSIDE_MM: Final = (17.0, 25.0)
_HATCH_MM: Final = 0.9
_LARGEST_MM: Final = 1_000.0
_LEAST_MM: Final = {"position_mm": 0.0, "diameter_mm": 0.1, "covered_mm": 0.0, "planned_mm": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class TapedHole:
    """One hole as it is drawn.

    Attributes
    ----------
    name : str
        The hole's name.
    position_mm, diameter_mm : number
        Its centre from the throat, and its width.
    covered_mm : number >= 0
        How far down from its upper edge the tape reaches; 0 is bare.
    planned_mm : number >= 0, or None
        How far it is planned to reach, where that is another thing.
    at_back : bool
        Whether it is the thumb's.
    """

    name: str
    position_mm: float
    diameter_mm: float
    covered_mm: float = 0.0
    at_back: bool = False
    planned_mm: float | None = None

    @property
    def changes(self) -> float | None:
        """How far the strip is planned to reach; None where it stays as it is."""
        stays = self.planned_mm is None or math.isclose(self.planned_mm, self.covered_mm, abs_tol=0.05)
        return None if stays else self.planned_mm

    def __post_init__(self) -> None:
        for field, least in _LEAST_MM.items():
            value = getattr(self, field)
            if value is not None and not least <= value <= _LARGEST_MM:
                raise InputError(
                    field=f"{field} of the {self.name} hole",
                    given=f"{value:g} mm",
                    allowed=f"from {least:g} to {_LARGEST_MM:g} mm can be drawn",
                )


def tape_svg(holes: Sequence[TapedHole], *, title: str, id_prefix: str = "tape") -> str:
    """The drawing as an SVG document.

    Parameters
    ----------
    holes : sequence of TapedHole
        At least one; positions, widths and tape are to one scale.
    title : str
        What the drawing is called; not drawn, but read out.
    id_prefix : str
        Letters, digits and hyphens; differs between pictures that share a page.
    """
    check_id_prefix(id_prefix)
    if not holes:
        raise InputError(field="holes", given="none", allowed="at least one can be drawn")
    start = min(hole.position_mm for hole in holes) - _BEYOND_MM
    length = max(hole.position_mm for hole in holes) + _BEYOND_MM - start
    bottom = _EDGE + length * UNITS_PER_MM
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("aria-labelledby", f"{id_prefix}-title {id_prefix}-desc")
    root.set("font-family", FONTS)
    root.set("viewBox", f"0 0 {WIDTH:.0f} {bottom + _EDGE:.0f}")
    for tag, text in (("title", title), ("desc", described(holes))):
        SubElement(root, tag, {"id": f"{id_prefix}-{tag}"}).text = printable(text)
    draw(layer(root, fill="paper"), "rect", width=WIDTH, height=bottom + _EDGE)
    _draw_outline(root, bottom)
    heights = [_EDGE + (hole.position_mm - start) * UNITS_PER_MM for hole in holes]
    for hole, y in zip(holes, heights, strict=True):
        _draw_hole(root, hole, y)
    _draw_labels(root, holes, heights)
    return tostring(root, encoding="unicode") + "\n"


def described(holes: Sequence[TapedHole]) -> str:
    """The text alternative: all that the drawing shows, in sentences."""
    said = "; ".join(
        f"{hole.name}{' at the back' if hole.at_back else ''}, "
        + (f"tape {millimetres(hole.covered_mm)} down from the upper edge" if hole.covered_mm else "bare")
        + ("" if hole.changes is None else f" now, {planned_said(hole.changes)}")
        for hole in holes
    )
    return f"Chanter from the front, reed end up. Holes from the reed down: {said}."


def planned_said(planned_mm: float) -> str:
    """What is planned for a strip, in words."""
    return f"{millimetres(planned_mm)} planned" if planned_mm else "to come off"


def millimetres(value_mm: float) -> str:
    """A strip's reach with its unit: to 0.1 mm, to 0.05 mm where that was told."""
    digits = 1 if math.isclose(value_mm, round(value_mm, 1), abs_tol=0.004) else 2
    return f"{number(value_mm, digits)} mm"


def segment_path(x: float, y: float, *, radius: float, reach: float) -> str:
    """Outline of the part of a round hole within `reach` of its top; the whole hole from its width up."""
    if reach >= 2 * radius:
        half = f"A{radius:.4f} {radius:.4f} 0 1 1"
        return f"M{x - radius:.4f} {y:.4f}{half} {x + radius:.4f} {y:.4f}{half} {x - radius:.4f} {y:.4f}z"
    edge, half_edge = y - radius + reach, _half_chord(radius - reach, radius)
    large = int(reach > radius)
    return (
        f"M{x - half_edge:.4f} {edge:.4f}"
        f"A{radius:.4f} {radius:.4f} 0 {large} 1 {x + half_edge:.4f} {edge:.4f}z"
    )


def _half_chord(from_centre: float, radius: float) -> float:
    return math.sqrt(max(0.0, radius**2 - from_centre**2))


def _draw_outline(root: Element, bottom: float) -> None:
    """The tapered body, with a broken edge at both ends: it goes on."""
    top_half, bottom_half = (size / 2 * UNITS_PER_MM for size in _OUTSIDE_MM)
    body = layer(root, fill="band")
    left_top, right_top = _AXIS - top_half, _AXIS + top_half
    left_bottom, right_bottom = _AXIS - bottom_half, _AXIS + bottom_half
    upper = f"M{left_top:.1f} {_EDGE}q{top_half / 2:.1f} 7 {top_half:.1f} 0t{top_half:.1f} 0"
    lower = f"q{-bottom_half / 2:.1f} -7 {-bottom_half:.1f} 0t{-bottom_half:.1f} 0z"
    draw(body, "path", d=f"{upper}L{right_bottom:.1f} {bottom:.1f}{lower}")
    sides = layer(root, stroke="ink", stroke_width=1.2)
    draw(sides, "line", x1=left_top, y1=_EDGE, x2=left_bottom, y2=bottom)
    draw(sides, "line", x1=right_top, y1=_EDGE, x2=right_bottom, y2=bottom)


def _draw_hole(root: Element, hole: TapedHole, y: float) -> None:
    radius = hole.diameter_mm / 2 * UNITS_PER_MM
    inside = layer(root, fill="paper")
    draw(inside, "circle", cx=_AXIS, cy=y, r=radius)
    if hole.covered_mm > 0:
        reach = min(hole.covered_mm * UNITS_PER_MM, 2 * radius)
        segment = draw(layer(root, fill="spread"), "path")
        segment.set("d", segment_path(_AXIS, y, radius=radius, reach=reach))
        segment.set("class", "tape")
        hatch = layer(root, stroke="ink", stroke_width=0.8)
        for x1, y1, x2, y2 in _hatching(y, radius, reach):
            draw(hatch, "line", x1=x1, y1=y1, x2=x2, y2=y2)
    dashes = "3 2.2" if hole.at_back else None
    ring = layer(root, stroke="ink", stroke_width=1.3, stroke_dasharray=dashes)
    draw(ring, "circle", cx=_AXIS, cy=y, r=radius)
    if hole.covered_mm > 0:
        edge = layer(root, stroke="ink", stroke_width=2.2)
        level, over = y - radius + reach, radius + 4.0
        draw(edge, "line", x1=_AXIS - over, y1=level, x2=_AXIS + over, y2=level)
    if hole.changes:
        planned = layer(
            root, stroke="ink", stroke_width=1.8, stroke_dasharray="1.2 3", stroke_linecap="round"
        )
        level, over = y - radius + min(hole.changes * UNITS_PER_MM, 2 * radius), radius + 8.0
        line = draw(planned, "line", x1=_AXIS - over, y1=level, x2=_AXIS + over, y2=level)
        line.set("class", "planned")


def _hatching(y: float, radius: float, reach: float) -> list[tuple[float, float, float, float]]:
    """Slanted lines (rising to the right) within the segment, from circle to circle or to the tape's edge.

    On a line x + y = c from the hole's centre, with t along it: the circle holds |t| to half a chord, the
    tape's edge holds the height, c/2 - t/sqrt(2), above it.
    """
    step = _HATCH_MM * UNITS_PER_MM * math.sqrt(2)
    lowest = reach - radius
    lines = []
    count = math.ceil(radius * math.sqrt(2) / step)
    for i in range(-count, count + 1):
        c = i * step
        half = _half_chord(c / math.sqrt(2), radius)
        first = max(-half, (c / 2 - lowest) * math.sqrt(2))
        if first < half:
            ends = [(c / 2 + t / math.sqrt(2), c / 2 - t / math.sqrt(2)) for t in (first, half)]
            (x1, y1), (x2, y2) = ends
            lines.append((_AXIS + x1, y + y1, _AXIS + x2, y + y2))
    return lines


def _draw_labels(root: Element, holes: Sequence[TapedHole], heights: Sequence[float]) -> None:
    """Each hole's name, and the millimetres in bold, kept apart where holes are close."""
    under = [
        (y + _ROW * 0.9 * row, said)
        for hole, y in zip(holes, heights, strict=True)
        for row, said in enumerate(_under(hole), start=1)
    ]
    second = [y for y, _ in under]
    places = spread_out([*heights, *second], _ROW * 0.9)
    leaders = layer(root, stroke="quiet", stroke_width=0.8)
    names = layer(root, fill="ink", font_size=_TEXT_SIZE)
    for hole, y, place in zip(holes, heights, places, strict=False):
        outside = _AXIS + hole.diameter_mm / 2 * UNITS_PER_MM + (6.0 if hole.covered_mm else 3.0)
        draw(leaders, "line", x1=outside, y1=y, x2=_LABELS - 4, y2=place)
        text = write(names, wrapped(hole.name, WIDTH - _LABELS, _TEXT_SIZE, most=1)[0], _LABELS, place + 5)
        if hole.covered_mm > 0:
            reach = SubElement(text, "tspan", {"font-weight": "700", "dx": "6"})
            reach.text = millimetres(hole.covered_mm)
    quiet = layer(root, fill="quiet", font_size=_SMALL_SIZE)
    for place, (_, said) in zip(places[len(holes) :], under, strict=True):
        write(quiet, said, _LABELS, place + 5)


def _under(hole: TapedHole) -> list[str]:
    """What stands under a hole's name, in small letters."""
    planned = [] if hole.changes is None else [planned_said(hole.changes)]
    return [*(["at the back"] if hole.at_back else []), *planned]
