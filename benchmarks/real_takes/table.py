"""The table of `benchmarks/real`."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.uncertain import SD_TO_90
from real_takes.conditions import CONDITIONS
from real_takes.sources import WAVERING_CENTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from real_takes.score import NoteScore, TakeScore
    from real_takes.sources import Instrument

_LEAST_COVER, _COVER_OVERALL = 0.80, (0.85, 0.95)
_DRONE_CENTS: Final = 0.3


def print_material(instruments: Sequence[Instrument]) -> None:
    """What the folder holds and how much it wavers."""
    for one in instruments:
        notes = ", ".join(f"{note.hz:.1f}" for note in sorted(one.notes, key=lambda note: note.hz))
        drones = ", ".join(f"{drone.name} {drone.hz:.1f}" for drone in one.drones)
        factor = "twice the figures asked" if one.wavers else "the figures asked"
        print(
            f"{one.name}: {len(one.notes)} notes ({notes} Hz), drones from {drones} Hz; wavers by "
            f"{one.waver_cents:.1f} cents RMS (limit {WAVERING_CENTS:g}): {factor}"
        )
    print()


def print_table(scores: Sequence[TakeScore], instruments: Sequence[Instrument]) -> None:
    """A line for each condition and kind of material, then what holds over all."""
    print("errors in cents: median / 95th / worst; n notes; l lost, m misnamed, i invented\n")
    for name in CONDITIONS:
        of_condition = [score for score in scores if score.condition == name]
        if not of_condition:
            continue
        for one in instruments:
            notes = [n for score in of_condition for n in score.notes if n.group == _group(one)]
            if notes:
                print(_line(name, one, notes))
        print(_rest(of_condition))
    notes = [note for score in scores for note in score.notes]
    low, high = _COVER_OVERALL
    verdict = "met" if low <= cover(notes) <= high else "MISSED"
    print(f"\n90 % interval over all: {cover(notes):.1%} of {len(notes)} (asked 85 to 95 %) {verdict}")


def _group(instrument: Instrument) -> str:
    return instrument.notes[0].group


def _line(name: str, one: Instrument, notes: Sequence[NoteScore]) -> str:
    condition = CONDITIONS[name]
    errors = np.array([note.error_cents for note in notes])
    got = [float(np.quantile(errors, q, method="higher")) for q in (0.5, 0.95, 1.0)]
    fates = Counter(note.fate for note in notes)
    asked, verdict = "-", ""
    if condition.asked_cents is not None:
        limits = [(2 if one.wavers else 1) * limit for limit in condition.asked_cents]
        asked = " / ".join(f"{limit:g}" for limit in limits)
        gone = fates["lost"] + fates["misnamed"]
        finite = got if condition.most_lost == 0 else _without_lost(errors, condition.most_lost)
        met = all(g <= limit for g, limit in zip(finite, limits, strict=True))
        verdict = "met" if met and gone <= condition.most_lost * len(notes) else "MISSED"
    holds = cover(notes)
    return (
        f"{condition.title:28s} {one.name:8s} {' / '.join(f'{g:.3f}' for g in got):>24s}  asked {asked:>16s} "
        f"{verdict:6s}  n {len(notes):4d} l {fates['lost']:3d} m {fates['misnamed']:3d}  "
        f"interval {holds:4.0%}{'' if holds >= _LEAST_COVER else ' MISSED'}"
    )


def _without_lost(errors: np.ndarray, most_lost: float) -> list[float]:
    """The three figures where so large a share may be lost: those that were read."""
    allowed = int(most_lost * len(errors))
    kept = np.sort(errors)
    kept = kept[: len(kept) - min(allowed, int(np.sum(np.isinf(errors))))]
    return [float(np.quantile(kept, q, method="higher")) for q in (0.5, 0.95, 1.0)]


def _rest(scores: Sequence[TakeScore]) -> str:
    """What concerns the takes as wholes: drones, invented notes, false remarks, speed."""
    invented = sum(len(score.invented) for score in scores)
    speed = sum(score.audio_s for score in scores) / sum(score.cpu_s for score in scores)
    remarks = Counter(code for score in scores for code in score.remarks)
    said = ", ".join(f"{code} {count}" for code, count in remarks.most_common()) or "none"
    parts = [f"invented {invented}", f"false remarks: {said}", f"{speed:.0f}x real time"]
    errors = np.array([error for score in scores for error in score.drone_errors])
    if len(errors):
        within = np.mean(errors <= _DRONE_CENTS)
        tenors = sum((Counter(score.tenors) for score in scores), Counter())
        missing = sum(score.drones_missing for score in scores)
        parts.insert(
            0,
            f"drones {np.median(errors):.3f} / {np.quantile(errors, 0.95):.2f} / {errors.max():.2f} "
            f"({within:.0%} within {_DRONE_CENTS:g}), missing {missing}; tenors apart: found {tenors['found']}, "
            f"tangled {tenors['tangled']}, missing {tenors['missing']}",
        )
    return "    " + "; ".join(parts)


def cover(notes: Sequence[NoteScore]) -> float:
    """Share of notes read whose error lies within their 90 % interval."""
    read = [note for note in notes if note.fate == "read"]
    if not read:
        return float("nan")
    return float(np.mean([note.error_cents <= SD_TO_90 * note.sd_cents for note in read]))


def print_worst(scores: Sequence[TakeScore], count: int) -> None:
    """The notes that went furthest wrong, to look into."""
    every = [(note, score) for score in scores for note in score.notes]
    every.sort(key=lambda pair: pair[0].error_cents, reverse=True)
    print()
    for note, score in every[:count]:
        spans = " ".join(f"{start:.2f}-{end:.2f}" for start, end in note.spans_s[:4])
        print(
            f"{score.condition:12s} seed {score.seed:3d} {note.note:7s} {note.group:8s} {note.fate:8s} "
            f"{note.error_cents:8.3f} ± {note.sd_cents:.3f}  {spans}"
        )
