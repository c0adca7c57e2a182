"""What moves in the picture: the beam, the marks of the notes, their bars and stems."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.notes import HIGH_A, LOW_A
from canebench.picture.elements import draw, layer
from canebench.picture.frame import CHECK_POSTS, POSTS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from xml.etree.ElementTree import Element

    from canebench.picture.axes import Axes
    from canebench.picture.contents import BeamPoint

Ends = tuple[float, float]


def draw_beam_line(root: Element, axes: Axes, points: Sequence[BeamPoint], ends: Ends) -> None:
    """The beam, thick between the As and thin out to low G."""
    x1, x2, y1, y2 = _line(axes, points, ends)
    x0 = axes.x(points[0].interval_cents)
    y0 = y1 + (y2 - y1) / (x2 - x1) * (x0 - x1)
    thin = layer(root, stroke="line", stroke_width=1.5)
    draw(thin, "line", x1=x0, y1=y0, x2=x1, y2=y1)
    thick = layer(root, stroke="line", stroke_width=5, stroke_linecap="round")
    draw(thick, "line", x1=x1, y1=y1, x2=x2, y2=y2)


def draw_predicted(root: Element, axes: Axes, points: Sequence[BeamPoint], ends: Ends) -> None:
    """The dotted beam."""
    x1, x2, y1, y2 = _line(axes, points, ends)
    dotted = layer(root, stroke="line", stroke_width=3, stroke_linecap="round", stroke_dasharray="0.1 8")
    draw(dotted, "line", x1=x1, y1=y1, x2=x2, y2=y2)


def draw_before(root: Element, axes: Axes, points: Sequence[BeamPoint], ends: Ends | None) -> None:
    """The earlier beam, dashed and thin, with small outlined marks."""
    outline = layer(root, fill="paper", stroke="quiet", stroke_width=1.3)
    if ends is not None:
        x1, x2, y1, y2 = _line(axes, points, ends)
        draw(outline, "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke_dasharray="9 5", stroke_width=1.8)
    for point in points:
        if point.cents is not None:
            _mark(outline, point.note, axes.x(point.interval_cents), axes.y(point.cents), 4.2)


def draw_notes(root: Element, axes: Axes, points: Sequence[BeamPoint]) -> None:
    """Each played note: spread, stem, uncertainty bar and mark, in that order from back to front."""
    spreads = layer(root, stroke="spread", stroke_width=8)
    stems = layer(root, stroke="left", stroke_width=2)
    bars = layer(root, stroke="ink", stroke_width=1.8)
    marks = layer(root, fill="paper", stroke="ink", stroke_width=2.2)
    posts = layer(root, fill="line", stroke="paper", stroke_width=1.5)
    for point in points:
        if point.cents is None:
            continue
        x, y = axes.x(point.interval_cents), axes.y(point.cents)
        if point.spread_cents is not None:
            _upright(spreads, axes, x, point.cents, point.spread_cents)
        if point.rest_cents is not None and point.note not in POSTS:
            draw(stems, "line", x1=x, x2=x, y1=axes.y(point.cents - point.rest_cents), y2=y)
        if point.sd_cents is not None:
            draw_bar(bars, axes, x, point.cents - point.sd_cents, point.cents + point.sd_cents)
        _mark(posts if point.note in POSTS else marks, point.note, x, y, 6.5)


def _line(axes: Axes, points: Sequence[BeamPoint], ends: Ends) -> tuple[float, float, float, float]:
    places = {point.note: axes.x(point.interval_cents) for point in points}
    return places[LOW_A], places[HIGH_A], axes.y(ends[0]), axes.y(ends[1])


def _upright(parent: Element, axes: Axes, x: float, cents: float, reach: float) -> None:
    draw(parent, "line", x1=x, x2=x, y1=axes.y(cents - reach), y2=axes.y(cents + reach))


def draw_bar(parent: Element, axes: Axes, x: float, low: float, high: float) -> None:
    """An upright between two heights, with short caps."""
    draw(parent, "line", x1=x, x2=x, y1=axes.y(low), y2=axes.y(high))
    for end in (low, high):
        draw(parent, "line", x1=x - 4, x2=x + 4, y1=axes.y(end), y2=axes.y(end))


def _mark(parent: Element, note: str, x: float, y: float, size: float) -> None:
    """A square for the As, a diamond for E and C, a circle for the others."""
    if note in POSTS:
        draw(parent, "rect", x=x - size, y=y - size, width=2 * size, height=2 * size)
    elif note in CHECK_POSTS:
        reach = size * 1.35
        corners = ((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y))
        draw(parent, "path", d="M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in corners) + "z")
    else:
        draw(parent, "circle", cx=x, cy=y, r=size * 0.95)
