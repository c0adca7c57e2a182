"""Time and memory: the measurement alone, the entire command, its start-up, and takes up to half an hour.

Run by `benchmarks/run`; every figure is of one core (BLAS on one thread).
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import librosa
import numpy as np

from baselines import RANGE_HZ
from canebench.sound.analysis.measure import measure
from canebench.sound.files.encode import write_recording
from canebench.sound.files.recording import Recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes

#: Whole sections of the take, so that no section holds a seam where the drones jump.
_MINUTES = (0.625, 2.5, 10.0, 30.0)
_SECTION_S = 37.5
_REPEATS = 5


def recipe(seed: int, hold_s: float = 3.25) -> Recipe:
    """A played scale (of about thirty seconds) with drones, noise, room and grace notes."""
    return Recipe(
        low_a_hz=471.0 + seed,
        notes=scale_notes(duration_s=hold_s),
        seed=seed,
        drones=DronePlan(tenor_cents=(2.0, -1.5), wander_cents=0.5),
        wander_cents=3.0,
        snr_db=20.0,
        rt60_s=0.6,
        graces=True,
    )


def main() -> None:
    argparse.ArgumentParser(description=__doc__).parse_args()
    take, _ = render(recipe(1))
    alone, _ = render(replace(recipe(1), drones=None))
    pyin_s = _pyin_s(take)
    pyin = take.duration_s / pyin_s
    _report("librosa pyin, the chanter's range", f"{pyin:.0f}x real time at {take.rate_hz:g} Hz", "-")
    for name, one, ratio in (("drones", take, 1), ("chanter alone", alone, 4)):
        ours = _real_time(one)
        figure = f"{ours:.0f}x real time, {ours / pyin:.1f} times pyin's"
        _report(f"measurement, {name}", figure, f"at least {ratio} times")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        write_recording(take, path)
        _report("canebench --help", f"{_cpu_s('--help'):.2f} s of CPU", "at most 0.2 s")
        _report("start-up (numerics imported)", f"{_import_s():.2f} s of CPU", "at most 0.4 s")
        whole = _cpu_s("measure", str(path), "--json")
        _report(
            f"canebench measure, {take.duration_s:.0f} s take",
            f"{whole:.2f} s of CPU, {whole / pyin_s:.1f} times pyin's",
            "at most 1.5 times",
        )
        long_enough, _ = render(recipe(1, hold_s=4.15))
        _long(long_enough, Path(folder))


def _real_time(take: Recording) -> float:
    spent = []
    for _ in range(_REPEATS):
        start = time.process_time()
        measure(take)
        spent.append(time.process_time() - start)
    return take.duration_s / statistics.median(spent)


def _pyin_s(take: Recording) -> float:
    """CPU seconds of pyin with its defaults, told the compass; its compiled parts are ready before."""
    low_hz, high_hz = RANGE_HZ
    samples = np.asarray(take.samples)
    librosa.pyin(samples[: round(2 * take.rate_hz)], fmin=low_hz, fmax=high_hz, sr=take.rate_hz)
    start = time.process_time()
    librosa.pyin(samples, fmin=low_hz, fmax=high_hz, sr=take.rate_hz)
    return time.process_time() - start


def _cpu_s(*arguments: str) -> float:
    """CPU seconds of the command and its decoder child, median of several runs."""
    command = [str(Path(sys.executable).with_name("canebench")), *arguments]
    return statistics.median(_children_s(command) for _ in range(_REPEATS))


def _import_s() -> float:
    code = "import canebench.cli.main, canebench.bench.acts.fitting.measure_take"
    return statistics.median(_children_s([sys.executable, "-c", code]) for _ in range(_REPEATS))


def _children_s(command: list[str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _long(take: Recording, folder: Path) -> None:
    """CPU and peak memory of the command for ever longer takes, each in a process of its own."""
    rate = None
    for minutes in _MINUTES:
        one = np.asarray(take.samples)[: round(_SECTION_S * take.rate_hz)]
        samples = np.tile(one, round(60 * minutes / _SECTION_S))
        path = folder / "long.wav"
        write_recording(Recording(samples=samples, rate_hz=take.rate_hz, origin="long"), path)
        # Not ru_maxrss: that begins with the size of the process which started this one.
        probe = (
            "import json, resource, sys; from pathlib import Path\n"
            "from canebench.bench.acts.fitting.measure_take import measure_take\n"
            "report = measure_take(Path(sys.argv[1]))\n"
            "use = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]\n"
            "status = Path('/proc/self/status').read_text().split('VmHWM:')[1]\n"
            "print(json.dumps([sum(one.ru_utime + one.ru_stime for one in use),"
            " int(status.split()[0]) / 1024, len(report.measurement.notes)]))"
        )
        done = subprocess.run(
            [sys.executable, "-c", probe, str(path)], check=True, capture_output=True, text=True
        )
        cpu_s, peak_mb, notes = json.loads(done.stdout)
        rate = rate or cpu_s
        _report(
            f"take of {minutes:g} min ({notes} notes)",
            f"{cpu_s:.2f} s of CPU ({60 * minutes / cpu_s:.0f}x), peak {peak_mb:.0f} MB",
            "linear, at most 400 MB at 30 min",
        )


def _report(what: str, figure: str, asked: str) -> None:
    print(f"{what:36s} {figure:44s} asked: {asked}", flush=True)


if __name__ == "__main__":
    main()
