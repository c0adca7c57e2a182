"""A measured take held against the courses of its isolated notes."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import hz_step_to_cents, hz_to_cents
from canebench.sound.analysis.measure import measure

if TYPE_CHECKING:
    from canebench.sound.analysis.readings import DroneReading, Measurement, NoteReading
    from canebench.sound.files.recording import Recording
    from real_takes.conditions import Condition
    from real_takes.takes import RealTake

#: In a tune, a note that sounds for less than this in all may be missed.
_LEAST_SOUNDING_S: Final = 2.0
#: Tenors at least this far apart are to be told apart.
_APART_CENTS: Final = 3.0
_OFTEN_TRUE: Final = frozenset({"tenors-not-separable"})


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteScore:
    """One note: its error in cents, infinite where `fate` is lost or misnamed."""

    note: str
    group: str
    fate: str
    error_cents: float
    sd_cents: float
    spans_s: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeScore:
    """All that one take shows. `drone_errors` are cents; `tenors` counts fates of tenors that lie apart."""

    condition: str
    seed: int
    notes: tuple[NoteScore, ...]
    invented: tuple[str, ...]
    drone_errors: tuple[float, ...]
    drone_sds: tuple[float, ...]
    drones_missing: int
    tenors: dict[str, int]
    remarks: tuple[str, ...]
    others: dict[str, tuple[float, ...]]
    cpu_s: float
    audio_s: float


def score_take(
    name: str, condition: Condition, seed: int, take: RealTake, recording: Recording
) -> tuple[TakeScore, Measurement]:
    """Measure with every default, nothing told, and score it."""
    begun_s = time.process_time()
    measured = measure(recording)
    cpu_s = time.process_time() - begun_s
    in_take = [note for note in NOTES if take.sounds_s(note) > 0]
    scored = [_note_score(take, note, measured, condition) for note in in_take]
    errors, sds, missing, tenors = _drone_scores(take, measured, condition)
    score = TakeScore(
        condition=name,
        seed=seed,
        notes=tuple(note for note in scored if note is not None),
        invented=tuple(reading.note for reading in measured.notes if reading.note not in in_take),
        drone_errors=errors,
        drone_sds=sds,
        drones_missing=missing,
        tenors=tenors,
        remarks=tuple(
            found.code
            for found in measured.findings
            if found.code not in condition.true_remarks | _OFTEN_TRUE
        ),
        others={},
        cpu_s=cpu_s,
        audio_s=recording.duration_s,
    )
    return score, measured


def true_hz(
    take: RealTake, note: str, spans_s: tuple[tuple[float, float], ...]
) -> tuple[float | None, float]:
    """The isolated note's mean over the spans, Hz (None where it does not sound), and what share of them it sounds.

    All of its soundings within the spans, each phase gained over time, weighted by their lengths.
    """
    cycles = sounding_s = 0.0
    for start_s, end_s in spans_s:
        for event in take.events:
            first, last = max(start_s, event.start_s), min(end_s, event.end_s)
            if event.note == note and not event.grace and last > first:
                cycles += event.gained_cycles(first, last)
                sounding_s += last - first
    whole_s = sum(end - start for start, end in spans_s)
    if sounding_s == 0.0:
        return None, 0.0
    return cycles / sounding_s, sounding_s / whole_s


def _note_score(take: RealTake, note: str, measured: Measurement, condition: Condition) -> NoteScore | None:
    """The note's score; None for one that sounds too little in a tune and was not read."""
    group = next(event.voice.source.group for event in take.events if event.note == note)
    reading = next((found for found in measured.notes if found.note == note), None)
    if reading is None:
        if condition.layout in ("march", "air") and take.sounds_s(note) < _LEAST_SOUNDING_S:
            return None
        return NoteScore(note=note, group=group, fate="lost", error_cents=np.inf, sd_cents=np.nan, spans_s=())
    hz, share = true_hz(take, note, reading.spans_s)
    named_well = hz is not None and share > 0.5
    return NoteScore(
        note=note,
        group=group,
        fate="read" if named_well else "misnamed",
        error_cents=abs(hz_to_cents(reading.hz, hz)) if hz is not None and named_well else np.inf,
        sd_cents=_sd_cents(reading),
        spans_s=reading.spans_s,
    )


def _sd_cents(reading: NoteReading | DroneReading) -> float:
    return hz_step_to_cents(reading.sd_hz, reading.hz)


def _drone_scores(
    take: RealTake, measured: Measurement, condition: Condition
) -> tuple[tuple[float, ...], tuple[float, ...], int, dict[str, int]]:
    """Errors and uncertainties of the drones found, how many are missing, and how the tenors fared."""
    if condition.drones_db is None:
        return (), (), 0, {}
    errors: list[float] = []
    sds: list[float] = []
    missing = 0
    tenors: Counter[str] = Counter()
    whole = [
        voice.course.mean_hz(0.0, take.duration_s) for kind, voice in take.drone_voices if kind == "tenor"
    ]
    apart = abs(hz_to_cents(whole[0], whole[1])) >= _APART_CENTS
    for kind in ("bass", "tenor"):
        found = sorted((d for d in measured.drones if d.drone == kind), key=lambda drone: drone.hz)
        tangled = any(not drone.separable for drone in found)
        voices = [voice for name, voice in take.drone_voices if name == kind]
        courses = sorted((voice.course for voice in voices), key=lambda c: c.mean_hz(0.0, take.duration_s))
        for i, course in enumerate(courses):
            if len(found) == len(courses):
                own = found[i]
            else:
                own = next((drone for drone in found[i : i + 1] if len(found) > 1 or i == 0), None)
            if own is None:
                missing += 1
                fate = "missing"
            else:
                fate = "tangled" if tangled else "found"
            if kind == "tenor" and apart:
                tenors[fate] += 1
            if own is not None and not tangled:
                cycles = sum(course.mean_hz(*span) * (span[1] - span[0]) for span in own.spans_s)
                hz = cycles / sum(end - start for start, end in own.spans_s)
                errors.append(abs(hz_to_cents(own.hz, hz)))
                sds.append(_sd_cents(own))
    return tuple(errors), tuple(sds), missing, dict(tenors)
