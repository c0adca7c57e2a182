"""What stands still in the picture: lines of equal deviation, the steps of tolerance, labels."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.notes import HIGH_A, LOW_A, C, E
from canebench.base.uncertain import number
from canebench.picture.elements import draw, layer, write
from canebench.picture.lettering import rows_apart, spread_out, width_of, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence
    from xml.etree.ElementTree import Element

    from canebench.picture.axes import Axes
    from canebench.picture.contents import BeamPoint

#: Which of several beams a label belongs to.
Role = Literal["before", "predicted", "main"]

POSTS: Final = (LOW_A, HIGH_A)
CHECK_POSTS: Final = (E, C)
_NAME_SIZE: Final = 16.0
_VALUE_SIZE: Final = 15.0
AXIS_SIZE: Final = 14.0
_ROW: Final = 46.0
#: Of a row that has names alone.
_NAMES_ROW: Final = 25.0


def draw_frame(root: Element, axes: Axes, points: Sequence[BeamPoint]) -> None:
    """Tolerance steps, then lines of equal deviation with their numbers."""
    draw(layer(root, fill="band"), "path", d=_steps(axes, points))
    draw_rules(root, axes)
    ends = layer(root, fill="quiet", font_size=AXIS_SIZE)
    write(ends, "cents sharp", 24.0, axes.top - 8)
    write(ends, "cents flat", 24.0, axes.bottom + 18)


def draw_rules(root: Element, axes: Axes, *, signed: bool = True) -> None:
    """Lines of equal height with their numbers, that of zero stronger."""
    rules = layer(root, stroke="rule", stroke_width=1)
    zero = layer(root, stroke="zero", stroke_width=1.5)
    numbers = layer(root, fill="quiet", font_size=AXIS_SIZE, text_anchor="end")
    for tick in axes.ticks():
        y = axes.y(tick)
        draw(zero if tick == 0 else rules, "line", x1=axes.left, x2=axes.right, y1=y, y2=y)
        write(numbers, number(tick, 0, signed=signed), axes.left - 8, y + 5)


def _steps(axes: Axes, points: Sequence[BeamPoint]) -> str:
    """Outline of the tolerances: a step for each note, reaching half way to its neighbours."""
    places = [axes.x(point.interval_cents) for point in points]
    edges = [axes.left, *((a + b) / 2 for a, b in pairwise(places)), axes.right]
    spans = list(zip(edges, edges[1:], points, strict=False))
    above = [(x, axes.y(p.tolerance_cents)) for a, b, p in spans for x in (a, b)]
    below = [(x, axes.y(-p.tolerance_cents)) for a, b, p in reversed(spans) for x in (b, a)]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in above + below) + "z"


def draw_labels(
    root: Element,
    axes: Axes,
    points: Sequence[BeamPoint],
    tags: Sequence[tuple[str, float, Role]],
    *,
    values_too: bool,
) -> float:
    """Names, and values too, under the notes, tags at the right; returns the height they reach down to."""
    places = [axes.x(point.interval_cents) for point in points]
    rows = rows_apart(places, [_label_width(point, values_too=values_too) for point in points], gap=7.0)
    top, row_height = axes.bottom + 40, _ROW if values_too else _NAMES_ROW
    leaders = layer(root, stroke="rule", stroke_width=1)
    names = layer(root, fill="ink", font_size=_NAME_SIZE, text_anchor="middle")
    values = layer(root, fill="quiet", font_size=_VALUE_SIZE, text_anchor="middle")
    for point, x, row in zip(points, places, rows, strict=True):
        y = top + row * row_height
        draw(leaders, "line", x1=x, x2=x, y1=axes.bottom, y2=y - 16)
        marked = point.note in POSTS or point.note in CHECK_POSTS
        write(names, point.note, x, y, font_weight=650 if marked else 400)
        if values_too:
            write(values, _value(point), x, y + 19)
    now = layer(root, fill="line", font_size=AXIS_SIZE)
    earlier = layer(root, fill="quiet", font_size=AXIS_SIZE)
    heights = spread_out([y for _, y, _ in tags], 34.0)
    for (label, _, role), y in zip(tags, heights, strict=True):
        parent, weight = (earlier if role == "before" else now), (650 if role == "main" else 400)
        for i, line in enumerate(wrapped(label, 84.0, AXIS_SIZE, most=2)):
            write(parent, line, axes.right - 14, y + 5 + 16 * i, font_weight=weight)
    return top + (19 if values_too else 0) + max(rows) * row_height + 6


def _value(point: BeamPoint) -> str:
    if point.cents is None:
        return "–"
    return number(point.cents, 1 if abs(point.cents) < 99.95 else 0, signed=True)


def _label_width(point: BeamPoint, *, values_too: bool) -> float:
    name = width_of(point.note, _NAME_SIZE, bold=True)
    return max(name, width_of(_value(point), _VALUE_SIZE)) if values_too else name
