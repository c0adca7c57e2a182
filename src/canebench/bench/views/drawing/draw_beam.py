"""Draw the beam of a take: the one picture for page, print and command."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.uncertain import Uncertain
from canebench.base.whole_file import write_whole
from canebench.bench.views.verdict import verdict_of
from canebench.fitting.tolerance import TOLERANCE_CENTS
from canebench.picture.beam import Beam, BeamPoint, beam_svg

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.views.verdict import Verdict
    from canebench.sound.analysis.readings import NoteReading


def draw_beam(report: TakeReport, *, title: str | None = None, before: TakeReport | None = None) -> str:
    """The SVG of a take's beam.

    Parameters
    ----------
    report : TakeReport
        The take.
    title : str or None
        What stands above it; the take's origin by default.
    before : TakeReport or None
        An earlier take, drawn in outline under it.
    """
    earlier = None if before is None else beam_of(before)
    return beam_svg(beam_of(report, title=title), before=earlier)


def draw_bare(report: TakeReport, *, width: float, height: float) -> str:
    """The plot alone, for a card that has the words beside it."""
    return beam_svg(beam_of(report), width=width, bare_height=height)


def save_beam(report: TakeReport, path: Path, *, title: str | None = None) -> None:
    """Write the SVG of `draw_beam` to `path`; an `InputError` says where that cannot be."""
    write_whole(path, draw_beam(report, title=title).encode(), field="picture")


def beam_of(report: TakeReport, *, title: str | None = None) -> Beam:
    """The picture's contents for a report: its numbers, words and text alternative."""
    verdict = verdict_of(report)
    readings = {note.note: note for note in report.measurement.notes}
    ends = None
    if report.balance is not None:
        ends = (readings[LOW_A].cents, readings[HIGH_A].cents)
    heading = title or report.measurement.origin
    return Beam(
        title=f"Beam of {heading}" if title is None else title,
        subtitle=verdict.basis,
        description=_description(report, verdict, readings),
        points=tuple(_point(note, report, readings.get(note)) for note in NOTES),
        ends=ends,
        words=(
            ("Height", verdict.height),
            ("Tilt", verdict.tilt),
            ("Left", verdict.left),
            ("Next", report.next_act.say),
        ),
    )


def _point(note: str, report: TakeReport, reading: NoteReading | None) -> BeamPoint:
    interval = report.measurement.scale.cents(note)
    if reading is None:
        return BeamPoint(note=note, interval_cents=interval, tolerance_cents=TOLERANCE_CENTS[note])
    return BeamPoint(
        note=note,
        interval_cents=interval,
        tolerance_cents=TOLERANCE_CENTS[note],
        cents=reading.cents,
        sd_cents=_finite(report.repeat_sd_cents[note]),
        spread_cents=_finite(reading.spread_cents),
        rest_cents=None if report.balance is None else report.balance.rest_cents[note].value,
    )


def _finite(value: float) -> float | None:
    """What is not known has no bar."""
    return value if math.isfinite(value) else None


def _description(report: TakeReport, verdict: Verdict, readings: dict[str, NoteReading]) -> str:
    """The text alternative: every number that the picture shows, in sentences."""
    notes = [
        f"{note} {_cents(readings[note], report)}" if note in readings else f"{note} not played"
        for note in NOTES
    ]
    return (
        f"Deviation in {verdict.basis}: {'; '.join(notes)}. Height: {verdict.height}. Tilt: {verdict.tilt}. "
        f"Left: {verdict.left}. Next: {report.next_act.say}"
    )


def _cents(reading: NoteReading, report: TakeReport) -> str:
    sd = report.repeat_sd_cents[reading.note]
    return Uncertain(value=reading.cents, sd=sd).text("cents", signed=True)
