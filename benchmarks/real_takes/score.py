"""A measured take held against the courses of its isolated notes."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import NOTES
from canebench.base.units import hz_step_to_cents, hz_to_cents
from canebench.sound.analysis.measure import measure

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.sound.analysis.readings import Measurement, NoteReading
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
    """One note: its error in cents, infinite where `fate` is lost or misnamed.

    `truth_sd_cents` is by what the truth itself is unsure; `others` are other estimators' errors.
    """

    note: str
    group: str
    fate: str
    error_cents: float
    sd_cents: float
    truth_sd_cents: float
    spans_s: tuple[tuple[float, float], ...]
    others: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class DroneScore:
    """One drone: found, tangled with another, or missing; its error over its spans, cents."""

    kind: str
    fate: str
    error_cents: float
    sd_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeScore:
    """All that one take shows; `tenors` counts fates of tenors that lie apart."""

    condition: str
    seed: int
    notes: tuple[NoteScore, ...]
    invented: tuple[str, ...]
    drones: tuple[DroneScore, ...]
    tenors: dict[str, int]
    remarks: tuple[str, ...]
    cpu_s: float
    audio_s: float


def score_take(
    name: str,
    condition: Condition,
    seed: int,
    take: RealTake,
    recording: Recording,
    asked: Callable[[RealTake, str, NoteReading], dict[str, float]] | None = None,
) -> TakeScore:
    """Measure with every default, nothing told, and score it; `asked` asks other estimators."""
    begun_s = time.process_time()
    measured = measure(recording)
    cpu_s = time.process_time() - begun_s
    in_take = [note for note in NOTES if take.sounds_s(note) > 0]
    scored = [_note_score(take, note, measured, condition, asked) for note in in_take]
    drones, tenors = _drone_scores(take, measured, condition)
    return TakeScore(
        condition=name,
        seed=seed,
        notes=tuple(note for note in scored if note is not None),
        invented=tuple(reading.note for reading in measured.notes if reading.note not in in_take),
        drones=tuple(drones),
        tenors=tenors,
        remarks=tuple(
            found.code
            for found in measured.findings
            if found.code not in condition.true_remarks | _OFTEN_TRUE
        ),
        cpu_s=cpu_s,
        audio_s=recording.duration_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueMean:
    """The isolated note's mean over spans, its uncertainty, and what share of the spans it sounds in."""

    hz: float
    sd_cents: float
    share: float


def true_mean(take: RealTake, note: str, spans_s: tuple[tuple[float, float], ...]) -> TrueMean | None:
    """Over all soundings of the note within the spans, phase gained over time; None where there are none."""
    cycles = unsure = sounding_s = 0.0
    for start_s, end_s in spans_s:
        for event in take.events:
            first, last = max(start_s, event.start_s), min(end_s, event.end_s)
            if event.note == note and not event.grace and last > first:
                gained, doubt = event.gained_cycles(first, last)
                cycles, unsure, sounding_s = cycles + gained, unsure + doubt, sounding_s + last - first
    if sounding_s == 0.0:
        return None
    whole_s = sum(end - start for start, end in spans_s)
    hz = cycles / sounding_s
    return TrueMean(
        hz=hz, sd_cents=hz_step_to_cents(abs(unsure) / sounding_s, hz), share=sounding_s / whole_s
    )


def _note_score(
    take: RealTake,
    note: str,
    measured: Measurement,
    condition: Condition,
    asked: Callable[[RealTake, str, NoteReading], dict[str, float]] | None,
) -> NoteScore | None:
    """The note's score; None for one that sounds too little in a tune and was not read."""
    group = next(event.voice.source.group for event in take.events if event.note == note)
    reading = next((found for found in measured.notes if found.note == note), None)
    if reading is None:
        if condition.layout in ("march", "air") and take.sounds_s(note) < _LEAST_SOUNDING_S:
            return None
        return NoteScore(
            note=note,
            group=group,
            fate="lost",
            error_cents=np.inf,
            sd_cents=np.nan,
            truth_sd_cents=np.nan,
            spans_s=(),
        )
    true = true_mean(take, note, reading.spans_s)
    named_well = true is not None and true.share > 0.5
    return NoteScore(
        note=note,
        group=group,
        fate="read" if named_well else "misnamed",
        error_cents=abs(hz_to_cents(reading.hz, true.hz)) if true is not None and named_well else np.inf,
        sd_cents=hz_step_to_cents(reading.sd_hz, reading.hz),
        truth_sd_cents=true.sd_cents if true is not None else np.nan,
        spans_s=reading.spans_s,
        others=asked(take, note, reading) if asked is not None and named_well else {},
    )


def _drone_scores(
    take: RealTake, measured: Measurement, condition: Condition
) -> tuple[list[DroneScore], dict[str, int]]:
    """Every drone of the take, in order of pitch within its kind, and how tenors that lie apart fared."""
    if condition.drones_db is None:
        return [], {}
    scores = []
    for kind in ("bass", "tenor"):
        found = sorted((d for d in measured.drones if d.drone == kind), key=lambda drone: drone.hz)
        voices = [voice for name, voice in take.drone_voices if name == kind]
        whole = [(0.0, take.duration_s)]
        voices.sort(key=lambda voice: take.drone_hz(voice, whole))
        # Fewer than there are: the last ones are missing, and what was found stands for the nearest.
        for i in range(len(voices)):
            if i >= len(found):
                scores.append(DroneScore(kind=kind, fate="missing", error_cents=np.nan, sd_cents=np.nan))
                continue
            own, means = found[i], [take.drone_hz(v, found[i].spans_s) for v in voices]
            hz = means[i] if len(found) >= len(voices) else min(means, key=lambda m: abs(m - found[i].hz))
            scores.append(
                DroneScore(
                    kind=kind,
                    fate="found" if own.separable else "tangled",
                    error_cents=abs(hz_to_cents(own.hz, hz)),
                    sd_cents=hz_step_to_cents(own.sd_hz, own.hz),
                )
            )
    tenors = [voice for kind, voice in take.drone_voices if kind == "tenor"]
    means = [take.drone_hz(voice, [(0.0, take.duration_s)]) for voice in tenors]
    apart = abs(hz_to_cents(means[0], means[1])) >= _APART_CENTS
    return scores, Counter(s.fate for s in scores if s.kind == "tenor") if apart else {}
