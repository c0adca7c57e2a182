"""A take that the ledger keeps, as it was reported when it was measured.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.scales import scale_named
from canebench.base.units import CENTS_PER_NEPER, hz_step_to_cents, hz_to_cents
from canebench.bench.acts.fitting.report import TakeReport, slip_findings
from canebench.fitting.balance import Deviation, balance_of
from canebench.fitting.next_act import next_act
from canebench.sound.analysis.readings import Measurement, NoteReading, Reference

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.scales import Scale
    from canebench.fitting.balance import Balance
    from canebench.store.records import PitchRecord, TakeRecord


def kept_report(take: TakeRecord, pitches: Sequence[PitchRecord]) -> TakeReport | None:
    """The report of a row of `takes` with its rows of `pitches`; None without reference or notes.

    Spread and spans of the notes were not kept, so they are absent; an `UnknownNameError` says where the
    take's scale is not among ours.
    """
    scale = scale_named(take.scale)
    rows = {row.note: row for row in pitches if row.note in NOTES}
    low_a_hz = take.reference_hz
    if low_a_hz is None or not rows:
        return None
    reference = _reference(take, low_a_hz)
    deviations = _deviations(rows, low_a_hz, scale)
    readings = {note: _reading(row, deviations[note].cents) for note, row in rows.items()}
    shared = _shared(reference)
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
        repeat_sd_cents={note: one.sd_cents for note, one in deviations.items()},
        balance=balance_of(deviations, reference_sd_cents=shared),
        next_act=next_act(deviations, against=reference.kind, reference_sd_cents=shared),
    )


def kept_balance(take: TakeRecord, pitches: Sequence[PitchRecord]) -> Balance | None:
    """The balance alone, as `kept_report` has it: of many takes the rest is not wanted.

    None too where the take tells nothing here, such as by a scale that is not among ours.
    """
    rows = {row.note: row for row in pitches if row.note in NOTES}
    if take.reference_hz is None or not rows:
        return None
    try:
        deviations = _deviations(rows, take.reference_hz, scale_named(take.scale))
        return balance_of(deviations, reference_sd_cents=_shared(_reference(take, take.reference_hz)))
    except InputError:
        return None


def _reference(take: TakeRecord, low_a_hz: float) -> Reference:
    sd_hz = take.reference_sd_hz
    return Reference(kind=take.reference, hz=low_a_hz, sd_hz=0.0 if sd_hz is None else sd_hz)


def _shared(reference: Reference) -> float:
    """What all notes share of the uncertainty, cents: a low A of the take itself is no other's."""
    return 0.0 if reference.kind == "low-a" else hz_step_to_cents(reference.sd_hz, reference.hz)


def _deviations(rows: Mapping[str, PitchRecord], low_a_hz: float, scale: Scale) -> dict[str, Deviation]:
    return {
        note: Deviation(
            cents=hz_to_cents(row.hz, low_a_hz * scale.ratios[note]),
            sd_cents=_or_unknown(row.repeat_sd_cents),
            interval_cents=scale.cents(note),
        )
        for note, row in rows.items()
    }


def _reading(row: PitchRecord, cents: float) -> NoteReading:
    sd_hz = _or_unknown(row.sd_hz)
    return NoteReading(
        note=row.note,
        hz=row.hz,
        sd_hz=sd_hz,
        cents=cents,
        sd_cents=sd_hz / row.hz * CENTS_PER_NEPER,
        drift_cents_per_s=math.nan,
        spread_cents=math.nan,
        spans_s=(),
        level_db=math.nan,
    )


def _or_unknown(sd: float | None) -> float:
    """A standard uncertainty that was not kept may be any."""
    return math.inf if sd is None else sd
