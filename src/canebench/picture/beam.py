"""The beam: nine notes along their pitches, deviation up, a straight beam through the two As.

Shape and word carry the meaning: squares are low A and high A, diamonds are E and C, a stem is what is
left. Colour only helps. Guarded by `tests/invariants/test_beam_picture.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.picture.axes import axes_for
from canebench.picture.contents import Beam, BeamPoint, Predicted
from canebench.picture.elements import check_id_prefix, draw, layer, write
from canebench.picture.frame import Role, draw_frame, draw_labels
from canebench.picture.lettering import FONTS, printable, wrapped
from canebench.picture.marks import draw_beam_line, draw_before, draw_notes, draw_predicted

__all__ = ["WIDTH", "Beam", "BeamPoint", "Predicted", "beam_svg"]

if TYPE_CHECKING:
    from collections.abc import Iterator

WIDTH: Final = 720.0
_EDGE: Final = 24.0
_LEFT: Final = 64.0
_PLOT_HEIGHT: Final = 270.0
_LINE: Final = 22.0
_WORD_COLUMN: Final = 74.0
_TITLE_SIZE, _TEXT_SIZE, _SMALL_SIZE = 20.0, 16.0, 13.5
_LEGEND: Final = (
    "■ low A, high A  ◆ E, C  ● other notes. Thick line: the beam. Stem: what is left. "
    "Capped bar: uncertainty. Broad pale bar: how much the note moved. Shaded: in tune."
)


def beam_svg(
    beam: Beam,
    *,
    before: Beam | None = None,
    predicted: Predicted | None = None,
    id_prefix: str = "beam",
    width: float = WIDTH,
    bare_height: float | None = None,
    values_too: bool = True,
) -> str:
    """The picture as an SVG document, for page, print and command alike.

    Parameters
    ----------
    beam : Beam
        What is measured now.
    before : Beam or None
        An earlier one, drawn in outline under it.
    predicted : Predicted or None
        A dotted beam.
    id_prefix : str
        Letters, digits and hyphens; differs between pictures that share a page.
    width : number
        Of the drawing, in its own units, in which letters are 13.5 to 20 high: less for a narrow place.
    bare_height : number or None
        Where heading, words and legend stand elsewhere: the height of the plot, which is then all there is.
    values_too : bool
        Whether a bare plot has each note's deviation under its name.
    """
    check_id_prefix(id_prefix)
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("aria-labelledby", f"{id_prefix}-title {id_prefix}-desc")
    root.set("font-family", FONTS)
    for tag, text in (("title", beam.title), ("desc", beam.description)):
        SubElement(root, tag, {"id": f"{id_prefix}-{tag}"}).text = printable(text)
    sheet = draw(layer(root, fill="paper"), "rect", width=width)
    if bare_height is None:
        y = _draw_heading(root, beam, width)
        y = _draw_plot(root, beam, before, predicted, top=y + 38, width=width)
        y = _draw_words(root, beam, top=y, width=width)
    else:
        y = 8 + _draw_plot(
            root,
            beam,
            before,
            predicted,
            top=24.0,
            width=width,
            height=bare_height,
            values_too=values_too,
        )
    sheet.set("height", f"{y:.0f}")
    root.set("viewBox", f"0 0 {width:.0f} {y:.0f}")
    return tostring(root, encoding="unicode") + "\n"


def _draw_heading(root: Element, beam: Beam, width: float) -> float:
    """Title and subtitle; returns the height they reach down to."""
    y = 12.0
    room = width - 2 * _EDGE
    ink = layer(root, fill="ink", font_size=_TITLE_SIZE, font_weight=650)
    for line in wrapped(beam.title, room, _TITLE_SIZE, bold=True, most=3):
        y += 24
        write(ink, line, _EDGE, y)
    quiet = layer(root, fill="quiet", font_size=15)
    for line in wrapped(beam.subtitle, room, 15, most=3):
        y += 21
        write(quiet, line, _EDGE, y)
    return y


def _draw_plot(
    root: Element,
    beam: Beam,
    before: Beam | None,
    predicted: Predicted | None,
    *,
    top: float,
    width: float,
    height: float = _PLOT_HEIGHT,
    values_too: bool = True,
) -> float:
    overlaid = before is not None or predicted is not None
    axes = axes_for(
        [point.interval_cents for point in beam.points],
        _all_values(beam, before, predicted),
        left=_LEFT,
        right=width - (110.0 if overlaid else _EDGE),
        top=top,
        height=height,
        side=34.0,
    )
    draw_frame(root, axes, beam.points)
    tags: list[tuple[str, float, Role]] = []
    if before is not None:
        draw_before(root, axes, before.points, before.ends)
        if before.ends is not None:
            tags.append((before.label or "before", axes.y(before.ends[1]), "before"))
    if predicted is not None:
        draw_predicted(root, axes, beam.points, predicted.ends)
        tags.append((predicted.label, axes.y(predicted.ends[1]), "predicted"))
    if beam.ends is not None:
        draw_beam_line(root, axes, beam.points, beam.ends)
        if overlaid:
            tags.append((beam.label or "now", axes.y(beam.ends[1]), "main"))
    draw_notes(root, axes, beam.points)
    return draw_labels(root, axes, beam.points, tags, values_too=values_too)


def _all_values(beam: Beam, before: Beam | None, predicted: Predicted | None) -> Iterator[float]:
    for points in (beam.points, before.points if before else ()):
        for point in points:
            if point.cents is not None:
                reach = max(point.sd_cents or 0.0, point.spread_cents or 0.0)
                yield from (point.cents - reach, point.cents + reach)
                yield point.cents - (point.rest_cents or 0.0)
    if predicted is not None:
        yield from predicted.ends


def _draw_words(root: Element, beam: Beam, *, top: float, width: float) -> float:
    y = top
    ink = layer(root, fill="ink", font_size=_TEXT_SIZE)
    for word, text in beam.words:
        write(ink, word, _EDGE, y + _LINE, font_weight=650)
        for line in wrapped(text, width - 2 * _EDGE - _WORD_COLUMN, _TEXT_SIZE):
            y += _LINE
            write(ink, line, _EDGE + _WORD_COLUMN, y)
        y += 4
    quiet = layer(root, fill="quiet", font_size=_SMALL_SIZE)
    y += 6
    for line in wrapped(_LEGEND, width - 2 * _EDGE, _SMALL_SIZE):
        y += 18
        write(quiet, line, _EDGE, y)
    return y + 16
