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
        unsure = [f"{source.name} {source.unsure_cents():.3f}" for source in (*one.notes, *one.drones)]
        print(f"    truth by itself, ± cents over half of each: {', '.join(unsure)}")
    print()


def print_table(scores: Sequence[TakeScore], instruments: Sequence[Instrument]) -> None:
    """A line for each condition and kind of material, then what holds over all."""
    print(
        "errors in cents: median / 95th / worst; n notes, l lost, m misnamed; truth ±: its own uncertainty,\n"
        "interval: how often the stated 90 % one holds (in brackets with the truth's own uncertainty added)\n"
    )
    for name in CONDITIONS:
        of_condition = [score for score in scores if score.condition == name]
        if not of_condition:
            continue
        for one in instruments:
            notes = [n for score in of_condition for n in score.notes if n.group == _group(one)]
            if notes:
                print(_line(name, one, notes))
        print(_rest(of_condition))
        _print_others([note for score in of_condition for note in score.notes])
    notes = [note for score in scores for note in score.notes]
    low, high = _COVER_OVERALL
    verdict = "met" if low <= cover(notes) <= high else "MISSED"
    print(
        f"\n90 % interval over all: {cover(notes):.1%} of {len(notes)} (asked 85 to 95 %) {verdict}; "
        f"with the truth's own uncertainty {cover(notes, with_truth=True):.1%}"
    )


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
    unsure = float(np.nanmedian([n.truth_sd_cents for n in notes])) if len(notes) > fates["lost"] else np.nan
    return (
        f"{condition.title:28s} {one.name:8s} {' / '.join(f'{g:.3f}' for g in got):>24s}  asked {asked:>16s} "
        f"{verdict:6s}  n {len(notes):4d} l {fates['lost']:3d} m {fates['misnamed']:3d}  "
        f"interval {holds:4.0%} ({cover(notes, with_truth=True):.0%})"
        f"{'' if holds >= _LEAST_COVER else ' MISSED'}  truth ± {unsure:.3f}"
    )


def _print_others(notes: Sequence[NoteScore]) -> None:
    """Other estimators on the same notes: theirs are told the spans, and what else their names say."""
    for other in sorted({name for note in notes for name in note.others}):
        errors = np.array([note.others[other] for note in notes if other in note.others])
        got = [float(np.quantile(errors, q, method="higher")) for q in (0.5, 0.95, 1.0)]
        print(f"    {other:34s} {' / '.join(f'{g:.3f}' for g in got):>24s}  n {len(errors)}")


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
    return "    " + "; ".join([*_drones(scores), *parts])


def _drones(scores: Sequence[TakeScore]) -> list[str]:
    drones = [drone for score in scores for drone in score.drones]
    errors = np.array([drone.error_cents for drone in drones if drone.fate == "found"])
    if not drones:
        return []
    fates = Counter(drone.fate for drone in drones)
    tenors = sum((Counter(score.tenors) for score in scores), Counter())
    figures = "none found"
    if len(errors):
        spread = f"{np.median(errors):.3f} / {np.quantile(errors, 0.95):.2f} / {errors.max():.2f}"
        verdict = "met" if errors.max() <= _DRONE_CENTS else f"{np.mean(errors <= _DRONE_CENTS):.0%} within"
        figures = f"drones {spread} (asked {_DRONE_CENTS:g}: {verdict})"
    return [
        f"{figures}, tangled {fates['tangled']}, missing {fates['missing']} of {len(drones)}",
        f"tenors 3 cents apart: found {tenors['found']}, tangled {tenors['tangled']}, "
        f"missing {tenors['missing']}",
    ]


def cover(notes: Sequence[NoteScore], *, with_truth: bool = False) -> float:
    """Share of notes read whose error lies within their 90 % interval; `with_truth` adds the truth's own."""
    read = [note for note in notes if note.fate == "read"]
    if not read:
        return float("nan")
    own = np.array([note.sd_cents for note in read])
    truth = np.nan_to_num([note.truth_sd_cents for note in read]) if with_truth else np.zeros(len(read))
    errors = np.array([note.error_cents for note in read])
    return float(np.mean(errors <= SD_TO_90 * np.hypot(own, truth)))


def print_worst(scores: Sequence[TakeScore], count: int) -> None:
    """The notes that went furthest wrong, to look into."""
    every = [(note, score) for score in scores for note in score.notes]
    every.sort(key=lambda pair: pair[0].error_cents, reverse=True)
    print()
    for note, score in every[:count]:
        spans = " ".join(f"{start:.2f}-{end:.2f}" for start, end in note.spans_s[:4])
        print(
            f"{score.condition:12s} seed {score.seed:3d} {note.note:7s} {note.group:8s} {note.fate:8s} "
            f"{note.error_cents:8.3f} ± {note.sd_cents:.3f} (truth ± {note.truth_sd_cents:.3f})  {spans}"
        )
