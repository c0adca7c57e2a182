"""Draws `docs/images/acts.svg`, what each act does to the beam of the generic chanter, and prints its tables.

Run by `scripts/figures`. The chanter is invented, so are its figures; each is computed by the package.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

import numpy as np

from canebench.base.notes import HIGH_A, LOW_A, NOTES, C, E
from canebench.base.setting import Setting
from canebench.base.uncertain import number
from canebench.bench.acts.fitting.fitting import Fitting
from canebench.bench.acts.fitting.model_effects import instrument_of
from canebench.bench.views.chanter_effects import chanter_effects
from canebench.bore.gas.air import BREATH
from canebench.bore.instrument import pitches_hz, sensitivity_at
from canebench.bore.unknowns import Unknowns
from canebench.picture.axes import Axes
from canebench.picture.contents import BeamPoint
from canebench.picture.elements import draw, layer, write
from canebench.picture.lettering import wrapped
from canebench.picture.marks import draw_beam_line, draw_notes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.base.uncertain import Uncertain

_PICTURE: Final = Path(__file__).parents[1] / "images" / "acts.svg"
_WARMER_DEGC: Final = 5.0
_STRIP_MM: Final = 1.5
_HALF_MM: Final = 0.5

_WIDTH: Final = 720.0
_COLUMN: Final = 360.0
_EDGE: Final = 18.0
_PLOT: Final = (48.0, 150.0)  # left of the panel, height
_ROW: Final = 286.0
_TITLE: Final = 16.0
_TEXT: Final = 13.5
_SMALL: Final = 12.5
#: From, to and step of the cents: seat, pinch and warmth share one scale, the two strips of tape another.
_COARSE: Final = (-14.0, 21.0, 5)
_FINE: Final = (-5.2, 1.2, 1)
_SIDE_CENTS: Final = 85.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One act: its name, what it shows in words, and how far each note moves (with its uncertainty)."""

    title: str
    words: str
    cents: FloatArray
    sd_cents: FloatArray | None
    scale: tuple[float, float, int] = _COARSE


def panels(fitting: Fitting) -> list[Panel]:
    """The acts, computed, in the order of the picture."""
    start, half = Setting(), _HALF_MM
    acts = {
        "deeper": Setting(seat_mm=half),
        "raised": Setting(seat_mm=-half),
        "pinch": Setting(pinches=1),
        "low A": Setting(tape_mm={LOW_A: _STRIP_MM}),
        "E": Setting(tape_mm={E: _STRIP_MM}),
    }
    belief = fitting.belief()
    moved = {name: belief.effect(start, setting) for name, setting in acts.items()}
    warm = _warmer(fitting)
    followed = warm - warm[NOTES.index(LOW_A)]

    def panel(name: str, title: str, words: str, scale: tuple[float, float, int] = _COARSE) -> Panel:
        return Panel(title=title, words=words, cents=moved[name][0], sd_cents=moved[name][1], scale=scale)

    warmth = f"Bore {_WARMER_DEGC:g} °C warmer"
    strip = f"{_STRIP_MM:g} mm of tape"
    return [
        panel(
            "deeper",
            f"Reed {half:g} mm deeper",
            "The beam rises and tilts: every note sharper, the top hand most.",
        ),
        panel("raised", f"Reed {half:g} mm higher", "The same the other way round."),
        panel("pinch", "One light pinch", "As a deeper seat, but how much is hardly known beforehand."),
        panel(
            "low A",
            f"{strip} on the low A hole",
            "Low A falls and tilts the beam: the others now stand above it.",
            _FINE,
        ),
        panel(
            "E", f"{strip} on the E hole", "E falls alone, F and high G by a trace: the beam stays.", _FINE
        ),
        Panel(
            title=f"{warmth}, fixed pitch", words="The beam rises and stays level.", cents=warm, sd_cents=None
        ),
        Panel(
            title=f"{warmth}, drones follow",
            words="Drones reset to low A: nothing is left to mend.",
            cents=followed,
            sd_cents=None,
        ),
    ]


def _warmer(fitting: Fitting) -> FloatArray:
    """Cents by which each note rises in a warmer bore."""
    instrument = instrument_of(fitting.chanter)
    air = instrument.conditions
    warm = replace(instrument, conditions=replace(air, temp_degc=air.temp_degc + _WARMER_DEGC))
    before, after = (pitches_hz(one, [Setting()])[0] for one in (instrument, warm))
    return np.asarray(1200 * np.log2(after / before))


def picture(shown: Sequence[Panel], fitting: Fitting) -> str:
    """The panels in two columns, the legend in the fourth place."""
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("aria-labelledby", "acts-title acts-desc")
    root.set("font-family", "ui-sans-serif, system-ui, sans-serif")
    SubElement(root, "title", {"id": "acts-title"}).text = "What each act does to the generic chanter's beam"
    SubElement(root, "desc", {"id": "acts-desc"}).text = _described(shown)
    places = [0, 1, 2, 4, 5, 6, 7]
    rows = places[-1] // 2 + 1
    height = _EDGE + rows * _ROW
    root.set("viewBox", f"0 0 {_WIDTH:.0f} {height:.0f}")
    draw(layer(root, fill="paper"), "rect", width=_WIDTH, height=height)
    for place, panel in zip(places, shown, strict=True):
        _draw_panel(root, panel, fitting, left=_COLUMN * (place % 2), top=_EDGE + _ROW * (place // 2))
    _draw_legend(root, left=_COLUMN, top=_EDGE + _ROW)
    return tostring(root, encoding="unicode") + "\n"


def _described(shown: Sequence[Panel]) -> str:
    said = [
        f"{panel.title}: "
        + ", ".join(
            f"{note} {number(move, 1, signed=True)}" for note, move in zip(NOTES, panel.cents, strict=True)
        )
        + " cents. "
        + panel.words
        for panel in shown
    ]
    return " ".join(["Cents by which each note moves on an invented chanter.", *said])


def _draw_panel(root: Element, panel: Panel, fitting: Fitting, *, left: float, top: float) -> None:
    inset, plot_height = _PLOT
    intervals = [fitting.scale.cents(note) for note in NOTES]
    low, high, step = panel.scale
    axes = Axes(
        left=left + inset,
        right=left + _COLUMN - _EDGE,
        top=top + 34,
        bottom=top + 34 + plot_height,
        interval_from=intervals[0] - _SIDE_CENTS,
        interval_to=intervals[-1] + _SIDE_CENTS,
        cents_from=low,
        cents_to=high,
        step=step,
    )
    ink = layer(root, fill="ink", font_size=_TITLE, font_weight=650)
    write(ink, panel.title, left + _EDGE, top + 18)
    _draw_lines(root, axes)
    points = _points(panel, intervals)
    ends = (float(panel.cents[NOTES.index(LOW_A)]), float(panel.cents[NOTES.index(HIGH_A)]))
    draw_beam_line(root, axes, points, ends)
    draw_notes(root, axes, points)
    _draw_names(root, axes, points)
    quiet = layer(root, fill="quiet", font_size=_TEXT)
    write(quiet, _told(panel), left + _EDGE, axes.bottom + 52)
    text = layer(root, fill="ink", font_size=_TEXT)
    for i, line in enumerate(wrapped(panel.words, _COLUMN - 2 * _EDGE + 50, _TEXT, most=2)):
        write(text, line, left + _EDGE, axes.bottom + 70 + 17 * i)


def _told(panel: Panel) -> str:
    """The posts and E in figures."""
    moves = [
        f"{note} {number(panel.cents[NOTES.index(note)], 1, signed=True)}" for note in (LOW_A, E, HIGH_A)
    ]
    return f"{', '.join(moves)} cents"


def _draw_lines(root: Element, axes: Axes) -> None:
    rules = layer(root, stroke="rule", stroke_width=1)
    zero = layer(root, stroke="zero", stroke_width=1.5)
    numbers = layer(root, fill="quiet", font_size=_SMALL, text_anchor="end")
    for tick in axes.ticks():
        y = axes.y(tick)
        draw(zero if tick == 0 else rules, "line", x1=axes.left, x2=axes.right, y1=y, y2=y)
        write(numbers, number(tick, 0, signed=True), axes.left - 7, y + 4.5)


def _points(panel: Panel, intervals: Sequence[float]) -> tuple[BeamPoint, ...]:
    first, last = NOTES.index(LOW_A), NOTES.index(HIGH_A)
    slope = (panel.cents[last] - panel.cents[first]) / (intervals[last] - intervals[first])
    beam = panel.cents[first] + slope * (np.array(intervals) - intervals[first])
    return tuple(
        BeamPoint(
            note=note,
            interval_cents=intervals[i],
            tolerance_cents=0.0,
            cents=float(panel.cents[i]),
            sd_cents=None
            if panel.sd_cents is None or panel.sd_cents[i] < _hair(panel)
            else float(panel.sd_cents[i]),
            rest_cents=float(panel.cents[i] - beam[i]),
        )
        for i, note in enumerate(NOTES)
    )


def _hair(panel: Panel) -> float:
    """A bar shorter than this would lie within its mark."""
    low, high, _ = panel.scale
    return 0.01 * (high - low)


def _draw_names(root: Element, axes: Axes, points: Sequence[BeamPoint]) -> None:
    """A letter under each note, with low or high under it where the letter stands twice."""
    plain = layer(root, fill="ink", font_size=_SMALL, text_anchor="middle")
    quiet = layer(root, fill="quiet", font_size=11.5, text_anchor="middle")
    for point in points:
        octave, _, letter = point.note.rpartition(" ")
        x = axes.x(point.interval_cents)
        marked = point.note in (LOW_A, HIGH_A, C, E)
        write(plain, letter, x, axes.bottom + 16, font_weight=650 if marked else 400)
        if octave:
            write(quiet, octave, x, axes.bottom + 30)


_LEGEND: Final = (
    "Up: cents by which a note moves, sharper above 0, flatter below. Along: the nine notes by pitch.",
    "■ low A, high A  ◆ E, C  ● other notes. Thick line: the beam through the two As. "
    "Stem: what a note moves besides the beam.",
    "Capped bar: one standard uncertainty on a chanter that nobody measured.",
    "Seat, pinch and warmth share one scale; the two strips of tape have a finer one.",
    "Computed for an invented chanter. Nothing here was measured.",
)


def _draw_legend(root: Element, *, left: float, top: float) -> None:
    write(
        layer(root, fill="ink", font_size=_TITLE, font_weight=650), "How to read it", left + _EDGE, top + 18
    )
    quiet = layer(root, fill="quiet", font_size=_TEXT)
    y = top + 24
    for paragraph in _LEGEND:
        for line in wrapped(paragraph, _COLUMN - 2 * _EDGE + 50, _TEXT):
            y += 18
            write(quiet, line, left + _EDGE, y)
        y += 8


def table(fitting: Fitting) -> str:
    """The figures of `canebench chanter` as a table for the page."""
    effects = chanter_effects(fitting)
    rows = [("change", *NOTES), tuple("---" for _ in range(len(NOTES) + 1))]
    rows += [(one.change, *(_cell(one.cents.get(note)) for note in NOTES)) for one in effects]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _cell(value: Uncertain | None) -> str:
    return "–" if value is None else value.text("", signed=True).replace(" (± not estimated)", "").strip()


def spreads(fitting: Fitting) -> str:
    """What one standard deviation of each unknown does to five notes, before anything was measured."""
    unknowns = Unknowns(start=fitting.chanter, conditions=BREATH)
    instrument = unknowns.instrument(np.zeros(len(unknowns.names)))
    by = sensitivity_at(instrument, Setting(), pitches_hz(instrument, [Setting()])[0])
    slopes, names = unknowns.slopes(instrument, Setting(), by), unknowns.names
    shown = [NOTES.index(note) for note in (LOW_A, C, E, HIGH_A)]
    lines = [
        f"| {name} | " + " | ".join(number(slopes[i, column], 1, signed=True) for i in shown) + " |"
        for column, name in enumerate(names)
    ]
    total = np.sqrt(np.sum(slopes**2, axis=1))
    return "\n".join(
        [*lines, "| all together | " + " | ".join(f"± {number(total[i], 0)}" for i in shown) + " |"]
    )


def main() -> None:
    """Write the picture, print the tables."""
    fitting = Fitting()
    _PICTURE.write_text(picture(panels(fitting), fitting), encoding="utf-8")
    sys.stdout.write(f"{table(fitting)}\n\n{spreads(fitting)}\n")


if __name__ == "__main__":
    main()
