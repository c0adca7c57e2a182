"""A take that the ledger keeps, as it was reported when it was measured.

Guarded by `tests/doors/test_fitting_now.py`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.scales import scale_named
from canebench.base.units import CENTS_PER_NEPER, hz_step_to_cents, hz_to_cents
from canebench.bench.acts.fitting.report import TakeReport, slip_findings
from canebench.fitting.balance import POSTS, Deviation, balance_of, octave_of
from canebench.fitting.next_act import next_act
from canebench.sound.analysis.readings import Measurement, NoteReading, Reference
from canebench.store.records import PitchRecord

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from canebench.base.scales import Scale
    from canebench.store.reader import Among, Reader
    from canebench.store.records import TakeRecord


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


class KeptPost(NamedTuple):
    """What of a row of `PitchRecord` tells of one of the two As."""

    note: str
    hz: float
    sd_hz: float | None
    repeat_sd_cents: float | None


def kept_posts(reader: Reader, takes: Iterable[TakeRecord]) -> dict[int, list[KeptPost]]:
    """The two As of each of these takes: of many takes the other notes are not wanted."""
    found: dict[int, list[KeptPost]] = {take.id: [] for take in takes}
    among: list[Among] = [("take_id", list(found), True), ("note", POSTS, True)]
    for take_id, *told in reader.columns(PitchRecord, ("take_id", *KeptPost._fields), among=among):
        found[take_id].append(KeptPost._make(told))
    return found


def kept_octave(take: TakeRecord, posts: Sequence[KeptPost]) -> tuple[float, float] | None:
    """How wide the octave is beyond its target and how unsure that is, cents, as `kept_report` has it.

    None where an A was not heard, and where the take tells nothing here, such as by a scale that is not ours.
    """
    rows = {row.note: row for row in posts}
    if take.reference_hz is None or len(rows) < len(POSTS):
        return None
    try:
        return octave_of(_deviations(rows, take.reference_hz, scale_named(take.scale)))
    except InputError:
        return None


def _reference(take: TakeRecord, low_a_hz: float) -> Reference:
    sd_hz = take.reference_sd_hz
    return Reference(kind=take.reference, hz=low_a_hz, sd_hz=0.0 if sd_hz is None else sd_hz)


def _shared(reference: Reference) -> float:
    """What all notes share of the uncertainty, cents: a low A of the take itself is no other's."""
    return 0.0 if reference.kind == "low-a" else hz_step_to_cents(reference.sd_hz, reference.hz)


def _deviations(
    rows: Mapping[str, KeptPost | PitchRecord], low_a_hz: float, scale: Scale
) -> dict[str, Deviation]:
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
