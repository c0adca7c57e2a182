"""A report as a page of plain text: table, beam, the three numbers in words, the one next act."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.notes import NOTES
from canebench.base.uncertain import Uncertain, number
from canebench.bench.views.drawing.draw_beam import beam_of
from canebench.bench.views.verdict import verdict_of
from canebench.cli.text.terminal_beam import ASCII, UNICODE, all_of, terminal_beam
from canebench.cli.text.words import can_show, labelled, paragraph, strong, table, width
from canebench.fitting.balance import POSTS

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.sound.analysis.readings import DroneReading, NoteReading

_HEADERS = ("note", "pitch Hz", "off cents", "left cents", "drift cents/s", "moved cents", "heard s")
_DRONE_HEADERS = ("drone", "pitch Hz", "moved cents", "heard s")


def report_text(report: TakeReport, *, title: str | None, encoding: str, planned: bool = False) -> str:
    """The page; `encoding` is the output's, which decides what the beam is drawn with.

    The take's own act is left out where a plan follows (`planned`): what is next is said once.
    """
    columns = width()
    measurement, verdict, act = report.measurement, verdict_of(report), report.next_act
    parts = [
        strong(title or measurement.origin) + "\n",
        paragraph(verdict.basis, columns=columns),
    ]
    if measurement.notes:
        parts += ["\n", table(_HEADERS, _note_rows(report), columns=columns)]
    if measurement.drones:
        rows = [_drone_row(drone) for drone in measurement.drones]
        parts += ["\n", table(_DRONE_HEADERS, rows, columns=columns)]
    if measurement.notes:
        strokes = UNICODE if can_show(all_of(UNICODE), encoding) else ASCII
        parts += ["\n", terminal_beam(beam_of(report), columns=columns, strokes=strokes)]
    said = [("Height", verdict.height), ("Tilt", verdict.tilt), ("Left", verdict.left)]
    todo = [("Next", act.say), ("Why", act.why), ("Check", act.check), ("Stop", act.stop)]
    for block in (
        said if measurement.notes else [],
        [] if planned else [*todo, *(("Care", caution) for caution in act.cautions)],
        # What refuses the take stands under Why already.
        [("Heard", f"{f.text} [{f.code}]") for f in measurement.findings if not f.refuses],
    ):
        if block:
            parts += ["\n", *(labelled(label, text, columns=columns) for label, text in block)]
    return "".join(parts)


def _note_rows(report: TakeReport) -> list[tuple[str, ...]]:
    readings = {note.note: note for note in report.measurement.notes}
    return [
        _note_row(readings[note], report) if note in readings else (note, "not played", *[""] * 5)
        for note in NOTES
    ]


def _note_row(note: NoteReading, report: TakeReport) -> tuple[str, ...]:
    return (
        note.note,
        _plain(note.hz, note.sd_hz),
        _plain(note.cents, report.repeat_sd_cents[note.note], signed=True),
        _left(note.note, report),
        number(note.drift_cents_per_s, 1, signed=True),
        number(note.spread_cents, 1),
        number(_length(note.spans_s), 1),
    )


def _left(note: str, report: TakeReport) -> str:
    if report.balance is None:
        return "not known"
    if note in POSTS:
        return "beam"
    rest = report.balance.rest_cents[note]
    return _plain(rest.value, rest.sd, signed=True)


def _drone_row(drone: DroneReading) -> tuple[str, ...]:
    name = drone.drone if drone.separable else f"{drone.drone} (not told apart)"
    return (
        name,
        _plain(drone.hz, drone.sd_hz),
        number(drone.spread_cents, 1),
        number(_length(drone.spans_s), 1),
    )


def _plain(value: float, sd: float | None, *, signed: bool = False) -> str:
    """Value ± uncertainty; the unit stands in the column's header."""
    return Uncertain(value=value, sd=sd).text("", signed=signed).strip()


def _length(spans_s: tuple[tuple[float, float], ...]) -> float:
    return sum(end - start for start, end in spans_s)
