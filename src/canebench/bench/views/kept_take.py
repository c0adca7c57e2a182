"""A take that the ledger keeps, as it was reported when it was measured.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from canebench.base.notes import NOTES
from canebench.base.scales import scale_named
from canebench.base.units import CENTS_PER_NEPER, hz_step_to_cents, hz_to_cents
from canebench.bench.acts.fitting.report import TakeReport, slip_findings
from canebench.fitting.balance import Deviation, balance_of
from canebench.fitting.next_act import next_act
from canebench.sound.analysis.readings import Measurement, NoteReading, Reference

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.scales import Scale
    from canebench.store.records import PitchRecord, TakeRecord


def kept_report(take: TakeRecord, pitches: Sequence[PitchRecord]) -> TakeReport | None:
    """The report of a row of `takes` with its rows of `pitches`; None without reference or notes.

    Spread and spans of the notes were not kept, so they are absent; an `UnknownNameError` says where the
    take's scale is not among ours.
    """
    scale = scale_named(take.scale)
    rows = {row.note: row for row in pitches if row.note in NOTES}
    low_a_hz, sd_hz = take.reference_hz, take.reference_sd_hz
    if low_a_hz is None or not rows:
        return None
    reference = Reference(kind=take.reference, hz=low_a_hz, sd_hz=0.0 if sd_hz is None else sd_hz)
    readings = {note: _reading(row, low_a_hz, scale) for note, row in rows.items()}
    repeat = {note: _or_unknown(row.repeat_sd_cents) for note, row in rows.items()}
    deviations = {
        note: Deviation(cents=one.cents, sd_cents=repeat[note], interval_cents=scale.cents(note))
        for note, one in readings.items()
    }
    shared = 0.0 if reference.kind == "low-a" else hz_step_to_cents(reference.sd_hz, reference.hz)
    measurement = Measurement(
        origin=take.origin,
        duration_s=0.0 if take.duration_s is None else take.duration_s,
        scale=scale,
        reference=reference,
        low_a_hz=readings["low A"].hz if "low A" in readings else None,
        notes=tuple(readings[note] for note in NOTES if note in readings),
        drones=(),
        findings=(),
    )
    return TakeReport(
        measurement=replace(measurement, findings=tuple(slip_findings(measurement))),
        repeat_sd_cents=repeat,
        balance=balance_of(deviations, reference_sd_cents=shared),
        next_act=next_act(deviations, against=reference.kind, reference_sd_cents=shared),
    )


def _reading(row: PitchRecord, low_a_hz: float, scale: Scale) -> NoteReading:
    sd_hz = _or_unknown(row.sd_hz)
    return NoteReading(
        note=row.note,
        hz=row.hz,
        sd_hz=sd_hz,
        cents=hz_to_cents(row.hz, low_a_hz * scale.ratios[row.note]),
        sd_cents=sd_hz / row.hz * CENTS_PER_NEPER,
        drift_cents_per_s=math.nan,
        spread_cents=math.nan,
        spans_s=(),
        level_db=math.nan,
    )


def _or_unknown(sd: float | None) -> float:
    """A standard uncertainty that was not kept may be any."""
    return math.inf if sd is None else sd
