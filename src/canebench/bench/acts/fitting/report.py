"""What one take comes to: the measurement, the balance and the one next act, in one record."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.finding import Finding
from canebench.base.notes import LOW_A
from canebench.base.sentences import capitalized
from canebench.base.units import hz_step_to_cents
from canebench.fitting.acts import record_again
from canebench.fitting.balance import Deviation, balance_of
from canebench.fitting.next_act import next_act
from canebench.fitting.slips import slips_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Balance
    from canebench.sound.analysis.readings import Measurement, NoteReading

_INDEPENDENT_PER_S: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeReport:
    """One take, through to the next act. `balance` is None where low A or high A is missing.

    `repeat_sd_cents` by note is how well the take tells what another one would give: the uncertainty of
    the reading's `cents` together with what the unsteadiness of the blowing leaves in a mean of that length.
    """

    measurement: Measurement
    repeat_sd_cents: Mapping[str, float]
    balance: Balance | None
    next_act: NextAct


def report_on(measurement: Measurement) -> TakeReport:
    """Lay the beam and choose the next act for a measurement, from a recording or typed.

    Guarded by `tests/doors/test_report.py`.
    """
    measurement = replace(measurement, findings=(*measurement.findings, *slip_findings(measurement)))
    reference = measurement.reference
    if measurement.refused or reference is None:
        reasons = [finding.text for finding in measurement.findings if finding.refuses]
        why = " ".join(reasons) or "Nothing in this take could be measured."
        return TakeReport(
            measurement=measurement, repeat_sd_cents={}, balance=None, next_act=record_again(why)
        )
    deviations = {note.note: _deviation(note, measurement) for note in measurement.notes}
    # Against low A, the reference's uncertainty is low A's own and already in its deviation.
    shared = 0.0 if reference.kind == "low-a" else hz_step_to_cents(reference.sd_hz, reference.hz)
    return TakeReport(
        measurement=measurement,
        repeat_sd_cents={note.note: _repeat_sd_cents(note, measurement) for note in measurement.notes},
        balance=balance_of(deviations, reference_sd_cents=shared),
        next_act=next_act(deviations, against=reference.kind, reference_sd_cents=shared),
    )


def slip_findings(measurement: Measurement) -> list[Finding]:
    """A remark for each step between two notes that no reed plays: what was heard may be another note."""
    hz = {note.note: note.hz for note in measurement.notes}
    return [
        Finding(code="odd-step", text=f"{capitalized(slip.said)}.")
        for slip in slips_of(hz, measurement.scale)
    ]


def unsteadiness_cents(note: NoteReading) -> float:
    """What the wavering of the blowing leaves in the note's mean, cents, as a standard uncertainty.

    A reading's own uncertainty is that of the mean of the very seconds heard. The reed is judged by what
    it does next time as well: the mean of n independent values with the spread s is uncertain by
    s / sqrt(n). One value a second is an estimate of ours; swings of arm and breath last about so long.
    """
    heard_s = sum(end - start for start, end in note.spans_s)
    return note.spread_cents / math.sqrt(max(1.0, heard_s * _INDEPENDENT_PER_S))


def _repeat_sd_cents(note: NoteReading, measurement: Measurement) -> float:
    against_itself = measurement.reference is not None and measurement.reference.kind == "low-a"
    # Against its own low A, that note lies at 0 by definition, and its wavering is in all the others.
    if against_itself and note.note == LOW_A:
        return note.sd_cents
    low_a = [other for other in measurement.notes if other.note == LOW_A and against_itself]
    return math.hypot(note.sd_cents, *(unsteadiness_cents(part) for part in (note, *low_a)))


def _deviation(note: NoteReading, measurement: Measurement) -> Deviation:
    # The reference's own uncertainty is common to all notes, so it is no part of a single deviation.
    sd = math.hypot(hz_step_to_cents(note.sd_hz, note.hz), unsteadiness_cents(note))
    return Deviation(
        cents=note.cents,
        sd_cents=sd if math.isfinite(sd) else math.inf,
        interval_cents=measurement.scale.cents(note.note),
    )
