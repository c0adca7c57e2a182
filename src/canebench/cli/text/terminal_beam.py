"""The beam as a picture of characters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.notes import HIGH_A, LOW_A, C, E

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.picture.beam import Beam, BeamPoint

_ROWS_EACH_SIDE: Final = 6
_STEPS: Final = (1, 2, 3, 5, 10, 20, 50, 100, 200, 500)
_MARGIN: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes:
    """One character for each thing drawn."""

    post: str
    check: str
    note: str
    beam: str
    stem: str
    zero: str
    minus: str


UNICODE: Final = Strokes(post="■", check="◆", note="●", beam="━", stem="│", zero="┈", minus="−")
ASCII: Final = Strokes(post="#", check="x", note="o", beam="=", stem="|", zero="-", minus="-")


def all_of(strokes: Strokes) -> str:
    """Every character that these strokes need."""
    return "".join(getattr(strokes, name) for name in Strokes.__slots__)


def terminal_beam(beam: Beam, *, columns: int, strokes: Strokes) -> str:
    """Nine notes on a grid of characters, deviation up; a line of names in two steps below.

    Parameters
    ----------
    beam : Beam
        What the drawn picture shows too.
    columns : int
        Width to fill.
    strokes : Strokes
        `UNICODE`, or `ASCII` where the output cannot show those.
    """
    wide = columns - _MARGIN - 6
    places = _places(beam.points, wide)
    step = _step(beam.points)
    grid = _grid(beam, places, step, wide + 6, strokes)
    lines = [(_scale_mark(row, step, strokes) + "".join(cells)).rstrip() for row, cells in grid]
    return "\n".join([*lines, *_names(beam.points, places)]) + "\n"


def _places(points: Sequence[BeamPoint], wide: int) -> list[int]:
    first, last = points[0].interval_cents, points[-1].interval_cents
    return [3 + round((point.interval_cents - first) / (last - first) * (wide - 1)) for point in points]


def _step(points: Sequence[BeamPoint]) -> int:
    reach = max([5.0, *(abs(point.cents) for point in points if point.cents is not None)])
    return next((step for step in _STEPS if reach <= step * _ROWS_EACH_SIDE), _STEPS[-1])


def _row(cents: float, step: int) -> int:
    return max(-_ROWS_EACH_SIDE, min(_ROWS_EACH_SIDE, round(cents / step)))


def _grid(
    beam: Beam, places: Sequence[int], step: int, wide: int, strokes: Strokes
) -> list[tuple[int, list[str]]]:
    rows = {row: [" "] * wide for row in range(_ROWS_EACH_SIDE, -_ROWS_EACH_SIDE - 1, -1)}
    rows[0] = [strokes.zero] * wide
    if beam.ends is not None:
        _draw_beam(beam, places, rows, step, strokes)
    for point, x in zip(beam.points, places, strict=True):
        if point.cents is None:
            continue
        here = _row(point.cents, step)
        if point.rest_cents is not None:
            foot = _row(point.cents - point.rest_cents, step)
            for row in range(min(here, foot) + 1, max(here, foot)):
                rows[row][x] = strokes.stem
        rows[here][x] = _mark(point.note, strokes)
    return list(rows.items())


def _draw_beam(
    beam: Beam, places: Sequence[int], rows: dict[int, list[str]], step: int, strokes: Strokes
) -> None:
    names = [point.note for point in beam.points]
    start, stop = places[names.index(LOW_A)], places[names.index(HIGH_A)]
    low, high = beam.ends or (0.0, 0.0)
    for x in range(start, stop + 1):
        rows[_row(low + (high - low) * (x - start) / (stop - start), step)][x] = strokes.beam


def _mark(note: str, strokes: Strokes) -> str:
    if note in (LOW_A, HIGH_A):
        return strokes.post
    return strokes.check if note in (C, E) else strokes.note


def _scale_mark(row: int, step: int, strokes: Strokes) -> str:
    if row % 2:
        return " " * _MARGIN
    sign = "" if row == 0 else "+" if row > 0 else strokes.minus
    return f"{sign}{abs(row) * step}".rjust(_MARGIN - 1) + " "


def _names(points: Sequence[BeamPoint], places: Sequence[int]) -> list[str]:
    """Names in two lines, every second one lower, so that F and high G keep apart."""
    lines = ["", ""]
    for i, (point, x) in enumerate(zip(points, places, strict=True)):
        name = point.note if point.cents is not None else f"({point.note})"
        start = max(0, _MARGIN + x - len(name) // 2)
        lines[i % 2] = lines[i % 2].ljust(start) + name
    return lines
