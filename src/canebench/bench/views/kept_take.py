"""A take that the ledger keeps, as it was reported when it was measured.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from canebench.base.notes import NOTES
from canebench.base.scales import scale_named
from canebench.base.units import CENTS_PER_NEPER, hz_step_to_cents, hz_to_cents
from canebench.bench.acts.fitting.report import TakeReport
from canebench.fitting.balance import Deviation, balance_of
from canebench.fitting.next_act import next_act
from canebench.sound.analysis.readings import Measurement, NoteReading, Reference

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.scales import Scale
    from canebench.store.tables import Row


def kept_report(take: Row, pitches: Sequence[Row]) -> TakeReport | None:
    """The report of a row of `takes` with its rows of `pitches`; None without reference or notes.

    Spread and spans of the notes were not kept, so they are absent; an `UnknownNameError` says where the
    take's scale is not among ours.
    """
    scale = scale_named(str(take["scale"]))
    rows = {str(row["note"]): row for row in pitches if row["note"] in NOTES}
    if take["reference_hz"] is None or not rows:
        return None
    low_a_hz, sd_hz = float(take["reference_hz"]), take["reference_sd_hz"]
    kind = {"drones": "drones", "low-a": "low-a"}.get(str(take["reference"]), "fixed")
    reference = Reference(kind=kind, hz=low_a_hz, sd_hz=0.0 if sd_hz is None else float(sd_hz))  # type: ignore[arg-type]
    readings = {note: _reading(row, low_a_hz, scale) for note, row in rows.items()}
    repeat = {note: _repeat_sd_cents(row) for note, row in rows.items()}
    deviations = {
        note: Deviation(cents=one.cents, sd_cents=repeat[note], interval_cents=scale.cents(note))
        for note, one in readings.items()
    }
    shared = 0.0 if kind == "low-a" else hz_step_to_cents(reference.sd_hz, reference.hz)
    return TakeReport(
        measurement=Measurement(
            origin=str(take["origin"]),
            duration_s=float(take["duration_s"] or 0.0),
            scale=scale,
            reference=reference,
            low_a_hz=readings["low A"].hz if "low A" in readings else None,
            notes=tuple(readings[note] for note in NOTES if note in readings),
            drones=(),
            findings=(),
        ),
        repeat_sd_cents=repeat,
        balance=balance_of(deviations, reference_sd_cents=shared),
        next_act=next_act(deviations, against=reference.kind, reference_sd_cents=shared),
    )


def _reading(row: Row, low_a_hz: float, scale: Scale) -> NoteReading:
    hz, sd_hz = float(row["hz"] or math.nan), row["sd_hz"]
    sd = math.inf if sd_hz is None else float(sd_hz)
    return NoteReading(
        note=str(row["note"]),
        hz=hz,
        sd_hz=sd,
        cents=hz_to_cents(hz, low_a_hz * scale.ratios[str(row["note"])]),
        sd_cents=sd / hz * CENTS_PER_NEPER,
        drift_cents_per_s=math.nan,
        spread_cents=math.nan,
        spans_s=(),
        level_db=math.nan,
    )


def _repeat_sd_cents(row: Row) -> float:
    value = row["repeat_sd_cents"]
    return math.inf if value is None else float(value)
