"""The live listener: time, cents against the measurement, false notes, breaks, and many streams at once.

Run by `benchmarks/run`. Takes are rendered; each is fed at 20 estimates to the second of sound, with an
analysis as often as the listener asks for one. The whole server's figures are `stream.py`'s.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.scales import DEFAULT_SCALE
from canebench.base.units import hz_to_cents
from canebench.sound.analysis.measure import measure
from canebench.sound.live.estimator import WINDOW_S, LiveListener
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.conditions import recipe_for
from support.noises import speech
from support.streaming import ESTIMATE_S, broken, stream_samples

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.files.recording import Recording
    from support.streaming import Streamed

_RATE_HZ = 48_000.0
_SHOWN = (
    "alone-wander",
    "drones-room",
    "as-played",
    "as-played-in-tune",
    "as-played-loud-drones",
)
_STREAMS = 25


@dataclass
class Spent:
    """CPU seconds of one stream, and of each of its estimates."""

    estimates_s: list[float] = field(default_factory=list)
    adds_s: float = 0.0
    analyses_s: list[float] = field(default_factory=list)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=4, help="takes for each condition")
    takes = parser.parse_args().takes
    _time()
    breaks = [0, 0, 0]
    for name in _SHOWN:
        _cents(name, takes, breaks)
    _false_notes(takes)
    print(
        f"breaks of 128 to 2048 samples found: {breaks[0]} of {breaks[1]}; "
        f"made up in {takes * len(_SHOWN)} takes without any: {breaks[2]} (asked: 0)"
    )
    _clipped(takes)
    _many()


def samples_of(recording: Recording) -> FloatArray:
    """As a microphone would give them."""
    return np.asarray(recording.samples, dtype=np.float64)


def _time() -> None:
    recording, _ = render(recipe_for("as-played", 6_000, longer=1.5))
    samples = samples_of(recording)
    spent = timed(samples)
    whole = spent.adds_s + sum(spent.estimates_s) + sum(spent.analyses_s)
    estimates = ", ".join(f"{1e3 * np.quantile(spent.estimates_s, q):.1f}" for q in (0.5, 0.95, 0.99))
    print(f"live: window of an estimate {WINDOW_S:.2f} s")
    print(f"estimate p50, p95, p99: {estimates} ms of CPU (asked: p95 at most 30)")
    print(
        f"one stream at 48 kHz, drones on, 20 estimates/s: {100 * whole / recording.duration_s:.0f} % of a"
        f" core (adding {100 * spent.adds_s / recording.duration_s:.1f}, estimates"
        f" {100 * sum(spent.estimates_s) / recording.duration_s:.1f}, analyses"
        f" {100 * sum(spent.analyses_s) / recording.duration_s:.1f}; asked: at most 25 %)"
    )
    print(f"an analysis: {1e3 * np.median(spent.analyses_s):.0f} ms of CPU, {len(spent.analyses_s)} of them")


def timed(samples: FloatArray) -> Spent:
    """Feed one stream and count the CPU's time."""
    listener = LiveListener(rate_hz=_RATE_HZ, scale=DEFAULT_SCALE)
    spent = Spent()
    step = round(ESTIMATE_S * _RATE_HZ)
    for start in range(0, len(samples) - step + 1, step):
        began = time.thread_time()
        listener.add(samples[start : start + step], first_frame=start)
        added = time.thread_time()
        listener.estimate()
        estimated = time.thread_time()
        spent.adds_s += added - began
        spent.estimates_s.append(estimated - added)
        if listener.settles:
            listener.settle()
            spent.analyses_s.append(time.thread_time() - estimated)
    return spent


def _cents(name: str, takes: int, breaks: list[int]) -> None:
    off: list[float] = []
    missing = extra = 0
    hits = misses = estimates = 0
    for seed in range(6_100, 6_100 + takes):
        recording, truth = render(recipe_for(name, seed))
        samples = samples_of(recording)
        seen = stream_samples(samples, rate_hz=_RATE_HZ)
        measured = {note.note: note.hz for note in measure(recording).notes}
        live = {} if seen.so_far is None else {note.note: note.hz for note in seen.so_far.notes}
        missing += len(set(measured) - set(live))
        extra += len(set(live) - set(measured))
        off += [abs(hz_to_cents(live[note], measured[note])) for note in set(live) & set(measured)]
        for estimate in seen.estimates:
            if estimate.sounding is not None and estimate.sounding.note is not None:
                # The newest eight frames are centred on these.
                true_hz = truth.chanter_hz(estimate.at_s - 0.20, estimate.at_s - 0.05)
                near = np.isfinite(true_hz) and abs(hz_to_cents(estimate.sounding.hz, true_hz)) < 15
                hits, misses = hits + bool(near), misses + (not near)
        estimates += len(seen.estimates)
        breaks[2] += len(seen.breaks)
        _find_breaks(samples, seed, breaks)
    print(
        f"{name}: against the measurement median {np.median(off):.3f}, worst {max(off):.2f} cents, "
        f"{missing} notes missing, {extra} too many; estimates that name a note "
        f"{100 * hits / estimates:.0f} %, named wrongly {100 * misses / estimates:.1f} %"
    )


def _find_breaks(samples: FloatArray, seed: int, breaks: list[int]) -> None:
    chance = np.random.default_rng(seed)
    reach = round(2 * _RATE_HZ)
    for _ in range(4):
        at = int(chance.uniform(3 * _RATE_HZ, len(samples) - 3 * _RATE_HZ))
        part = broken(samples, at, int(chance.integers(128, 2_048)), twice=bool(chance.integers(2)))
        seen = stream_samples(part[at - reach : at + reach], rate_hz=_RATE_HZ)
        breaks[0] += any(abs(one - reach) < 0.15 * _RATE_HZ for one in seen.breaks)
        breaks[1] += 1


def _false_notes(takes: int) -> None:
    plan = DronePlan(tenor_cents=(2.0, -1.5), wander_cents=0.5)
    low_a = Recipe(
        low_a_hz=470.0, notes=scale_notes("low A"), seed=1, drones=plan, lead_s=8.0, snr_db=25.0, rt60_s=0.6
    )
    lead = round(7.9 * _RATE_HZ)
    sounds: dict[str, list[FloatArray]] = {"drones alone": [], "talk": [], "noise": []}
    for seed in range(takes):
        low_a = replace(low_a, low_a_hz=450.0 + 7 * seed, seed=seed)
        sounds["drones alone"].append(samples_of(render(low_a)[0])[:lead])
        sounds["talk"].append(speech(_RATE_HZ, 8.0, seed=seed))
        sounds["noise"].append(0.1 * np.random.default_rng(seed).normal(size=lead))
    for what, parts in sounds.items():
        seen: list[Streamed] = [stream_samples(part, rate_hz=_RATE_HZ) for part in parts]
        estimates = [estimate for one in seen for estimate in one.estimates]
        false = sum(estimate.sounding is not None for estimate in estimates)
        held = sum(len(one.so_far.notes) for one in seen if one.so_far is not None)
        broke = sum(len(one.breaks) for one in seen)
        print(
            f"{what}: a note sounds in {false} of {len(estimates)} estimates, "
            f"{held} held, {broke} breaks (asked: 0)"
        )


def _clipped(takes: int) -> None:
    made = 0
    for seed in range(6_200, 6_200 + takes):
        samples = samples_of(render(recipe_for("as-played", seed))[0])
        peak = 0.5 * float(np.max(np.abs(samples)))
        made += len(stream_samples(np.clip(samples, -peak, peak), rate_hz=_RATE_HZ).breaks)
    print(f"breaks made up in {takes} takes clipped at half their peak: {made} (asked: 0)")


def _many() -> None:
    """All streams in one process, two threads, as fast as they go."""
    recording, _ = render(recipe_for("as-played", 6_000, longer=0.35))
    samples = samples_of(recording)
    began = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(timed, [samples] * _STREAMS))
    spent_s = time.perf_counter() - began
    estimates = sum(len(one.estimates_s) for one in done)
    analyses = sum(len(one.analyses_s) for one in done)
    print(
        f"{_STREAMS} streams of {recording.duration_s:.0f} s in two threads: {spent_s:.0f} s, "
        f"{estimates / spent_s:.0f} estimates/s with {analyses / spent_s:.0f} analyses/s beside them "
        f"({recording.duration_s / spent_s:.2f}x real time)"
    )


if __name__ == "__main__":
    main()
