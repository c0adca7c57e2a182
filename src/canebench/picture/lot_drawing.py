"""A lot's reeds, a bar each: how long it was played, how much of that until it settled, and how it counts.

How it counts is told by the shape at the bar's end; colour only helps. Guarded by
`tests/invariants/test_lot_drawing.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.base.uncertain import number
from canebench.picture.elements import check_id_prefix, draw, layer, write
from canebench.picture.lettering import FONTS, printable, width_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

WIDTH: Final = 720.0
#: Of the drawing for a telephone's width: letters stay as large as in the wide one.
NARROW: Final = 430.0
#: Shape by how a reed counts; any other is open.
_SHAPES: Final[Mapping[str, str]] = MappingProxyType(
    {"settled": "●", "settled, gone": "◆", "settled, worn out": "■", "not settled": "×", "open": "○"}
)
_UNTIL: Final = "until it had settled"
_EDGE, _ROW, _SIZE, _MARK = 8.0, 18.0, 13.5, 5.0
#: Letters of a reed's number at its bar; more of it stands in the page's table alone.
_LETTERS: Final = 8
_EVERY_MIN: Final = (5, 10, 20, 30, 60, 120, 300, 600, 1_200, 3_000, 6_000, 12_000, 30_000, 60_000, 300_000)
_HOUR: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedBar:
    """One reed: what it was played, min, until it settled where that is known, and how it counts."""

    number: str
    minutes: float
    until_settled_min: float | None
    counts_as: str


def lot_svg(
    bars: Sequence[ReedBar], *, title: str, description: str, width: float = WIDTH, id_prefix: str = "lot"
) -> str:
    """The picture as an SVG document, reeds from top to bottom in the order given."""
    check_id_prefix(id_prefix)
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("aria-labelledby", f"{id_prefix}-title {id_prefix}-desc")
    root.set("font-family", FONTS)
    for tag, text in (("title", title), ("desc", description)):
        SubElement(root, tag, {"id": f"{id_prefix}-{tag}"}).text = printable(text)
    sheet = draw(layer(root, fill="paper"), "rect", width=width)
    names = [_shortened(printable(bar.number)) for bar in bars]
    left = _EDGE + max((width_of(name, _SIZE) for name in names), default=0.0) + 10.0
    longest = max((bar.minutes for bar in bars), default=0.0)
    scale = (width - left - 3.0 * _MARK - _EDGE) / max(longest, 1.0)
    foot = _EDGE + len(bars) * _ROW
    _minutes(root, longest, left=left, scale=scale, foot=foot)
    _bars(root, bars, left=left, scale=scale)
    letters = layer(root, fill="ink", font_size=_SIZE, text_anchor="end")
    for row, name in enumerate(names):
        write(letters, name, left - 8.0, _middle(row) + 4.5)
    y = _legend(root, foot + 24.0, width=width)
    sheet.set("height", f"{y:.0f}")
    root.set("viewBox", f"0 0 {width:.0f} {y:.0f}")
    return tostring(root, encoding="unicode") + "\n"


def _shortened(name: str) -> str:
    return name if len(name) <= _LETTERS else name[: _LETTERS - 1] + "…"


def _middle(row: int) -> float:
    return _EDGE + (row + 0.5) * _ROW


def _minutes(root: Element, longest: float, *, left: float, scale: float, foot: float) -> None:
    """Lines at round times with their numbers below: hours where there are that many."""
    most = 6 if scale * longest > 400.0 else 4
    every = next((one for one in _EVERY_MIN if longest / one <= most), _EVERY_MIN[-1])
    hours = every >= _HOUR
    rules = layer(root, stroke="rule", stroke_width=1)
    letters = layer(root, fill="quiet", font_size=_SIZE, text_anchor="middle")
    for minutes in range(0, int(longest) + 1, every):
        x = left + minutes * scale
        draw(rules, "line", x1=x, x2=x, y1=_EDGE, y2=foot)
        said = f"{number(minutes / _HOUR, 0)} h" if hours else f"{minutes} min"
        write(letters, said if minutes else "0", x, foot + 16.0)


def _bars(root: Element, bars: Sequence[ReedBar], *, left: float, scale: float) -> None:
    played, settling = layer(root, fill="spread"), layer(root, fill="quiet")
    marks = {shape: _ground(root, shape) for shape in _SHAPES.values()}
    for row, bar in enumerate(bars):
        y = _middle(row)
        if bar.minutes > 0.0:
            draw(played, "rect", x=left, y=y - 3.5, width=bar.minutes * scale, height=7.0)
        if bar.until_settled_min is not None:
            until = min(bar.minutes, bar.until_settled_min) * scale
            draw(settling, "rect", x=left, y=y - 3.5, width=until, height=7.0)
        shape = _SHAPES.get(bar.counts_as, _SHAPES["open"])
        _mark(marks[shape], shape, left + bar.minutes * scale + _MARK + 2.0, y)


def _mark(parent: Element, shape: str, x: float, y: float) -> None:
    size = _MARK
    if shape in "●○":
        draw(parent, "circle", cx=x, cy=y, r=size)
    elif shape == "■":
        draw(parent, "rect", x=x - size, y=y - size, width=2.0 * size, height=2.0 * size)
    elif shape == "◆":
        corners = ((x, y - 1.3 * size), (x + size, y), (x, y + 1.3 * size), (x - size, y))
        draw(parent, "path", d="M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in corners) + "z")
    else:
        lines = ((x - size, y - size, x + size, y + size), (x - size, y + size, x + size, y - size))
        draw(parent, "path", d="".join(f"M{a:.1f} {b:.1f}L{c:.1f} {d:.1f}" for a, b, c, d in lines))


def _legend(root: Element, y: float, *, width: float) -> float:
    """Each mark with its words, as many on a line as fit; returns the height they reach down to."""
    letters = layer(root, fill="quiet", font_size=_SIZE)
    swatch = layer(root, fill="quiet")
    x = _EDGE
    for words, shape in [*_SHAPES.items(), (_UNTIL, None)]:
        wide = 18.0 + width_of(words, _SIZE)
        if x > _EDGE and x + wide > width - _EDGE:
            x, y = _EDGE, y + 20.0
        if shape is None:
            draw(swatch, "rect", x=x, y=y + 8.5, width=12.0, height=7.0)
        else:
            _mark(_ground(root, shape), shape, x + _MARK + 1.0, y + 12.0)
        write(letters, words, x + 18.0, y + 16.5)
        x += wide + 16.0
    return y + 28.0


def _ground(root: Element, shape: str) -> Element:
    """Marks of what is not settled are in outline, the others full."""
    if shape in "○×":
        return layer(root, fill="paper", stroke="ink", stroke_width=1.8)
    return layer(root, fill="ink")
