"""Record to JSON object: the single place where a report gets its written form.

The schema is `docs/measurement.schema.json`; fields may be added to it, none change their meaning under
the same schema name. Guarded by `tests/doors/test_wire.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from canebench.base.uncertain import Uncertain
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Balance
    from canebench.sound.analysis.readings import DroneReading, Measurement, NoteReading, Reference

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
        "duration_s": figure(measurement.duration_s),
        "scale": measurement.scale.name,
        "refused": measurement.refused,
        "reference": _reference(measurement.reference),
        "low_a_hz": figure(measurement.low_a_hz),
        "notes": [_note(note, report) for note in measurement.notes],
        "drones": [_drone(drone) for drone in measurement.drones],
        "balance": None if report.balance is None else _balance(report.balance),
        "next_act": act_object(report.next_act),
        "findings": _findings(measurement),
    }


def _reference(reference: Reference | None) -> Json | None:
    if reference is None:
        return None
    return {"kind": reference.kind, "hz": figure(reference.hz), "sd_hz": figure(reference.sd_hz)}


def _note(note: NoteReading, report: TakeReport) -> Json:
    return {
        "note": note.note,
        "hz": figure(note.hz),
        "sd_hz": figure(note.sd_hz),
        "cents": figure(note.cents),
        "sd_cents": figure(note.sd_cents),
        "repeat_sd_cents": figure(report.repeat_sd_cents[note.note]),
        "drift_cents_per_s": figure(note.drift_cents_per_s),
        "spread_cents": figure(note.spread_cents),
        "spans_s": _spans(note.spans_s),
        "level_db": figure(note.level_db),
    }


def _drone(drone: DroneReading) -> Json:
    return {
        "drone": drone.drone,
        "hz": figure(drone.hz),
        "sd_hz": figure(drone.sd_hz),
        "spread_cents": figure(drone.spread_cents),
        "spans_s": _spans(drone.spans_s),
        "separable": drone.separable,
    }


def _balance(balance: Balance) -> Json:
    return {
        "height_cents": figure(balance.height_cents.value),
        "height_sd_cents": _sd(balance.height_cents),
        "tilt_cents": figure(balance.tilt_cents.value),
        "tilt_sd_cents": _sd(balance.tilt_cents),
        "rest_cents": {note: figure(rest.value) for note, rest in balance.rest_cents.items()},
        "rest_sd_cents": {note: _sd(rest) for note, rest in balance.rest_cents.items()},
    }


def act_object(act: NextAct) -> Json:
    """An act in words."""
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
    return [[figure(start), figure(end)] for start, end in spans_s]


def _sd(value: Uncertain) -> float | None:
    return figure(value.sd)


def figure(value: float | None) -> float | None:
    """A number as it is written; null for what is absent."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DIGITS)
