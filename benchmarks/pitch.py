"""Errors of every note in every condition, beside the figures asked, the bound and other estimators.

Run by `benchmarks/run`. Nothing is told to the measurement: no boundaries, names, reference or drones.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import repeat
from multiprocessing import get_context
from typing import TYPE_CHECKING

import numpy as np

from baselines import BASELINES
from bound import bare, bound_cents
from canebench.base.uncertain import SD_TO_90
from canebench.base.units import hz_step_to_cents, hz_to_cents
from canebench.sound.analysis.measure import measure
from canebench.sound.synth import render
from support.conditions import CONDITIONS, PIPES, TEXTBOOK, recipe_for

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.analysis.readings import Measurement, NoteReading
    from canebench.sound.files.recording import Recording
    from canebench.sound.synth import Recipe, Truth

#: A reading whose spans lie outside the note it is named for is misnamed; edges may differ by this, s.
_EDGE_S = 0.05


@dataclass
class Score:
    """Errors of one take (cents; infinite for a missing or misnamed note) and what was asked beside them."""

    errors: list[float] = field(default_factory=list)
    sds: list[float] = field(default_factory=list)
    bounds: list[float] = field(default_factory=list)
    drone_errors: list[float] = field(default_factory=list)
    drone_sds: list[float] = field(default_factory=list)
    drones_missing: int = 0
    drones_tangled: int = 0
    others: dict[str, list[float]] = field(default_factory=dict)
    cpu_s: float = 0.0
    audio_s: float = 0.0


def score_take(name: str, seed: int, *, with_others: bool) -> Score:
    """Render, measure and score one take."""
    recipe = recipe_for(name, seed)
    recording, truth = render(recipe)
    start = time.process_time()
    measured = measure(recording)
    score = Score(cpu_s=time.process_time() - start, audio_s=recording.duration_s)
    clean = bare(recipe) if CONDITIONS[name].noisy else None
    for plan in recipe.notes:
        reading = next((note for note in measured.notes if note.note == plan.note), None)
        if reading is None or not _is_the_note(reading, truth):
            score.errors.append(np.inf)
            continue
        true_hz = _mean_hz(reading, truth)
        score.errors.append(abs(hz_to_cents(reading.hz, true_hz)))
        score.sds.append(hz_step_to_cents(reading.sd_hz, reading.hz))
        longest = max(reading.spans_s, key=lambda span: span[1] - span[0])
        if clean is not None:
            place = recipe.low_a_hz * recipe.scale.ratios[plan.note] * 2 ** (plan.offset_cents / 1200)
            score.bounds.append(bound_cents(clean[0], clean[1], recipe, longest, place))
        if with_others:
            _ask_others(score, recording, truth, longest, recipe.low_a_hz * recipe.scale.ratios[plan.note])
    _score_drones(score, measured, recipe, truth)
    return score


def _is_the_note(reading: NoteReading, truth: Truth) -> bool:
    own = [event for event in truth.events if event.note == reading.note and not event.grace]
    return all(
        any(event.start_s - _EDGE_S < start and end < event.end_s + _EDGE_S for event in own)
        for start, end in reading.spans_s
    )


def _mean_hz(reading: NoteReading, truth: Truth) -> float:
    length = [end - start for start, end in reading.spans_s]
    mean = [truth.chanter_hz(start, end) for start, end in reading.spans_s]
    return float(np.average(mean, weights=length))


def _ask_others(
    score: Score, recording: Recording, truth: Truth, span_s: tuple[float, float], nominal_hz: float
) -> None:
    rate = recording.rate_hz
    cut = np.array(recording.samples[round(span_s[0] * rate) : round(span_s[1] * rate)])
    true_hz = truth.chanter_hz(*span_s)
    for other, estimate in BASELINES.items():
        hz = estimate(cut, rate, nominal_hz)
        error = abs(hz_to_cents(hz, true_hz)) if np.isfinite(hz) else np.inf
        score.others.setdefault(other, []).append(error)


def _score_drones(score: Score, measured: Measurement, recipe: Recipe, truth: Truth) -> None:
    if recipe.drones is None:
        return
    found = list(measured.drones)
    for name in truth.drone_cycles:
        kind = name.split()[0]
        true = {i: truth.drone_hz(name, *d.spans_s[0]) for i, d in enumerate(found) if d.drone == kind}
        if not true:
            score.drones_missing += 1
            continue
        best = min(true, key=lambda i: abs(found[i].hz - true[i]))
        if not found[best].separable:
            score.drones_tangled += 1
            continue
        score.drone_errors.append(abs(hz_to_cents(found[best].hz, true[best])))
        score.drone_sds.append(hz_step_to_cents(found[best].sd_hz, found[best].hz))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--conditions", nargs="*", default=list(CONDITIONS))
    parser.add_argument("--no-others", action="store_true")
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    results: dict[str, list[Score]] = {}
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for name in options.conditions:
            others = [not options.no_others] * len(seeds)
            results[name] = list(pool.map(_job, repeat(name), seeds, others))
            print(_line(name, results[name]), flush=True)
    _print_summary(results)


def _job(name: str, seed: int, with_others: bool) -> Score:
    return score_take(name, seed, with_others=with_others)


def _line(name: str, scores: Sequence[Score]) -> str:
    errors = np.array([error for score in scores for error in score.errors])
    asked = CONDITIONS[name].asked_cents
    got = [float(np.quantile(errors, q, method="higher")) for q in (0.5, 0.95, 1.0)]
    met = all(g <= a for g, a in zip(got, asked, strict=True))
    figures = " / ".join(f"{g:.4f}" for g in got)
    wanted = " / ".join(f"{a:g}" for a in asked)
    speed = sum(score.audio_s for score in scores) / sum(score.cpu_s for score in scores)
    missing = int(np.sum(np.isinf(errors)))
    return (
        f"{CONDITIONS[name].title:42s} {figures:>26s} asked {wanted:>18s} {'met' if met else 'MISSED':6s} "
        f"missing {missing}/{len(errors)}  90 % interval holds {_cover(scores):5.1%}  "
        f"error/bound {_bound_ratio(scores)}  {speed:.0f}x real time"
    )


def _cover(scores: Sequence[Score]) -> float:
    errors = np.array([error for score in scores for error in score.errors if np.isfinite(error)])
    sds = np.array([sd for score in scores for sd in score.sds])
    return float(np.mean(errors <= SD_TO_90 * sds))


def _bound_ratio(scores: Sequence[Score]) -> str:
    ratios = [
        error / bound
        for score in scores
        for error, bound in zip([e for e in score.errors if np.isfinite(e)], score.bounds, strict=False)
    ]
    return f"{np.median(ratios):5.0f}" if ratios else "    -"


def _print_summary(results: dict[str, list[Score]]) -> None:
    for world, names in (("textbook", TEXTBOOK), ("pipes", PIPES)):
        scores = [score for name in names for score in results.get(name, [])]
        if scores:
            print(f"\n90 % interval over all conditions of {world}: {_cover(scores):.1%} (asked 85 to 95 %)")
            _print_drones(scores)
    _print_others(results)


def _print_drones(everything: Sequence[Score]) -> None:
    drones = np.array([error for score in everything for error in score.drone_errors])
    if len(drones):
        sds = np.array([sd for score in everything for sd in score.drone_sds])
        missing = sum(score.drones_missing for score in everything)
        tangled = sum(score.drones_tangled for score in everything)
        print(
            f"Drones: {len(drones)} readings, worst {drones.max():.4f} c (asked 0.1), "
            f"{int(np.sum(drones > 0.1))} beyond 0.1 c; {tangled} said not separable, missing {missing}; "
            f"90 % interval holds {np.mean(drones <= SD_TO_90 * sds):.1%}"
        )


def _print_others(results: dict[str, list[Score]]) -> None:
    print("\nOthers on the same spans (they are told the spans): median / 95th / worst cents, gross > 50 c")
    for name, scores in results.items():
        print(CONDITIONS[name].title)
        for other in BASELINES:
            errors = np.array([error for score in scores for error in score.others.get(other, [])])
            if len(errors):
                figures = " / ".join(
                    f"{np.quantile(errors, q, method='higher'):.3f}" for q in (0.5, 0.95, 1.0)
                )
                print(f"    {other:30s} {figures:>28s}   gross {np.mean(errors > 50):.0%}")


if __name__ == "__main__":
    main()
