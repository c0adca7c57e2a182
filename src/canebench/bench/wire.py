"""Record to JSON object: the single place where a report gets its written form.

The schema is `docs/measurement.schema.json`; fields may be added to it, none change their meaning under
the same schema name. Guarded by `tests/doors/test_wire.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from canebench.base.uncertain import Uncertain
    from canebench.bench.report import TakeReport
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Balance
    from canebench.sound.readings import DroneReading, Measurement, NoteReading, Reference

SCHEMA: Final = "canebench.measurement/1"
#: Far finer than any uncertainty here, and coarse enough to read.
_DIGITS: Final = 6

Json = dict[str, Any]


def report_object(report: TakeReport) -> Json:
    """The report as plain JSON values; what is absent is null, and no number is NaN or infinite."""
    measurement = report.measurement
    return {
        "schema": SCHEMA,
        "origin": measurement.origin,
        "duration_s": _figure(measurement.duration_s),
        "scale": measurement.scale.name,
        "refused": measurement.refused,
        "reference": _reference(measurement.reference),
        "low_a_hz": _figure(measurement.low_a_hz),
        "notes": [_note(note, report) for note in measurement.notes],
        "drones": [_drone(drone) for drone in measurement.drones],
        "balance": None if report.balance is None else _balance(report.balance),
        "next_act": _next_act(report.next_act),
        "findings": _findings(measurement),
    }


def _reference(reference: Reference | None) -> Json | None:
    if reference is None:
        return None
    return {"kind": reference.kind, "hz": _figure(reference.hz), "sd_hz": _figure(reference.sd_hz)}


def _note(note: NoteReading, report: TakeReport) -> Json:
    return {
        "note": note.note,
        "hz": _figure(note.hz),
        "sd_hz": _figure(note.sd_hz),
        "cents": _figure(note.cents),
        "sd_cents": _figure(note.sd_cents),
        "repeat_sd_cents": _figure(report.repeat_sd_cents[note.note]),
        "drift_cents_per_s": _figure(note.drift_cents_per_s),
        "spread_cents": _figure(note.spread_cents),
        "spans_s": _spans(note.spans_s),
        "level_db": _figure(note.level_db),
    }


def _drone(drone: DroneReading) -> Json:
    return {
        "drone": drone.drone,
        "hz": _figure(drone.hz),
        "sd_hz": _figure(drone.sd_hz),
        "spread_cents": _figure(drone.spread_cents),
        "spans_s": _spans(drone.spans_s),
        "separable": drone.separable,
    }


def _balance(balance: Balance) -> Json:
    return {
        "height_cents": _figure(balance.height_cents.value),
        "height_sd_cents": _sd(balance.height_cents),
        "tilt_cents": _figure(balance.tilt_cents.value),
        "tilt_sd_cents": _sd(balance.tilt_cents),
        "rest_cents": {note: _figure(rest.value) for note, rest in balance.rest_cents.items()},
        "rest_sd_cents": {note: _sd(rest) for note, rest in balance.rest_cents.items()},
    }


def _next_act(act: NextAct) -> Json:
    return {
        "act": act.act.value,
        "say": act.say,
        "why": act.why,
        "check": act.check,
        "stop": act.stop,
        "cautions": list(act.cautions),
    }


def _findings(measurement: Measurement) -> list[Json]:
    return [{"code": f.code, "text": f.text, "refuses": f.refuses} for f in measurement.findings]


def _spans(spans_s: tuple[tuple[float, float], ...]) -> list[list[float | None]]:
    return [[_figure(start), _figure(end)] for start, end in spans_s]


def _sd(value: Uncertain) -> float | None:
    return _figure(value.sd)


def _figure(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DIGITS)
