"""What one take comes to: the measurement, the balance and the one next act, in one record."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.units import hz_step_to_cents
from canebench.fitting.acts import measure_again
from canebench.fitting.balance import Deviation, balance_of
from canebench.fitting.next_act import next_act

if TYPE_CHECKING:
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Balance
    from canebench.sound.readings import Measurement, NoteReading


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeReport:
    """One take, through to the next act. `balance` is None where low A or high A is missing."""

    measurement: Measurement
    balance: Balance | None
    next_act: NextAct


def report_on(measurement: Measurement) -> TakeReport:
    """Lay the beam and choose the next act for a measurement, from a recording or typed.

    Guarded by `tests/doors/test_report.py`.
    """
    reference = measurement.reference
    if measurement.refused or reference is None:
        reasons = [finding.text for finding in measurement.findings if finding.refuses]
        why = " ".join(reasons) or "Nothing in this take could be measured."
        return TakeReport(measurement=measurement, balance=None, next_act=measure_again(why))
    deviations = {note.note: _deviation(note, measurement) for note in measurement.notes}
    # Against low A, the reference's uncertainty is low A's own and already in its deviation.
    shared = 0.0 if reference.kind == "low-a" else hz_step_to_cents(reference.sd_hz, reference.hz)
    return TakeReport(
        measurement=measurement,
        balance=balance_of(deviations, reference_sd_cents=shared),
        next_act=next_act(deviations, against=reference.kind, reference_sd_cents=shared),
    )


def _deviation(note: NoteReading, measurement: Measurement) -> Deviation:
    # The reading's own sd_cents holds the reference's uncertainty too, which is common to all notes.
    sd = hz_step_to_cents(note.sd_hz, note.hz)
    return Deviation(
        cents=note.cents,
        sd_cents=sd if math.isfinite(sd) else math.inf,
        interval_cents=measurement.scale.cents(note.note),
    )
