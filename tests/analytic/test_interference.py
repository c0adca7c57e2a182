"""What is left of drones, and what stands where a note's partials lie, in frames made here."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.drones import drone_lines as lines_of_drones
from canebench.sound.analysis.drones import drone_runs as runs_of_drones
from canebench.sound.analysis.drones.drone_lines import DroneLines, drone_lines, without_drones
from canebench.sound.analysis.drones.drone_runs import DroneRun, drone_runs
from canebench.sound.analysis.measure import measure
from canebench.sound.analysis.notes.interference import Surroundings
from canebench.sound.analysis.notes.note_tests import beyond_drones
from canebench.sound.analysis.notes.note_tracking import Held, Hold
from canebench.sound.analysis.notes.pitch_contour import Stretch
from canebench.sound.dsp.decimation import sections
from canebench.sound.dsp.harmonic_source import HarmonicSource
from canebench.sound.dsp.stft import Frames, frames_of
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes
from support.conditions import recipe_for

if TYPE_CHECKING:
    from canebench.base.arrays import IntArray


@pytest.fixture(scope="module")
def take() -> tuple[Frames, list[DroneRun]]:
    """A scale over steady drones, and the drones found."""
    recipe = Recipe(
        low_a_hz=470.0,
        notes=scale_notes(duration_s=1.2),
        seed=3,
        drones=DronePlan(bass_cents=2.0, tenor_cents=(3.0, -2.0)),
        snr_db=40.0,
    )
    (section,) = sections(render(recipe)[0])
    frames = frames_of(section)
    return frames, drone_runs(section, frames)


def _shifted(run: DroneRun, ratio: float) -> DroneRun:
    """The run with every drone at a wrong pitch."""
    return replace(
        run,
        sources=tuple(
            replace(source, freq_hz=ratio * source.freq_hz, cycles=ratio * source.cycles)
            for source in run.sources
        ),
    )


def test_drones_known_well_leave_little_and_say_so(take: tuple[Frames, list[DroneRun]]) -> None:
    """Control: drones followed at a wrong pitch are said to leave far more."""
    frames, runs = take
    good = drone_lines(without_drones(frames, runs), runs)
    wrong = [_shifted(run, 1.001) for run in runs]
    bad = drone_lines(without_drones(frames, wrong), wrong)
    low = good.hz < 1_500.0
    level = np.concatenate([np.sqrt(source.power) for run in runs for source in run.sources])
    assert np.median(good.left[low]) < 0.2 * np.median(level)
    assert np.median(bad.left[bad.hz < 1_500.0]) > 3 * np.median(good.left[low])


def test_a_line_is_never_louder_for_being_taken_out(take: tuple[Frames, list[DroneRun]]) -> None:
    frames, runs = take
    rest = without_drones(frames, [_shifted(run, 1.002) for run in runs])
    before, after = (float(np.sum(np.abs(part.spectrum) ** 2)) for part in (frames, rest))
    assert after < 1.02 * before


def test_steady_drones_leave_notes_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without noise nothing is left to err by; control: it is with lines put back and high partials in."""
    recording, truth = render(recipe_for("drones", 5_312))

    def worst_cents() -> float:
        return max(
            abs(hz_to_cents(note.hz, truth.chanter_hz(*span)))
            for note in measure(recording).notes
            for span in note.spans_s
            if len(note.spans_s) == 1
        )

    assert worst_cents() < 6e-4
    monkeypatch.setattr(lines_of_drones, "_ALL_BUT_GONE", 0.0)
    monkeypatch.setattr(runs_of_drones, "_STILL_LEFT", 0.0)
    assert worst_cents() > 9e-4


def test_surroundings_hold_what_sounds_while_the_note_does_not() -> None:
    """A steady line at a note's third partial; the note itself, which sounds half the time, is not in it."""
    count, bins, bin_hz = 200, 400, 12.0
    spectrum = np.full((count, bins), 1e-4, dtype=complex)
    note_hz = 480.0
    spectrum[:80, [40, 80, 120]] += 1.0
    spectrum[:, 120] += 0.5
    frames = Frames(spectrum=spectrum, bin_hz=bin_hz, hop_s=0.02, start_s=0.0)
    lines = DroneLines(hz=np.zeros(0), left=np.zeros(0))
    stretch = Stretch(first=0, last=79, freq_hz=note_hz)
    (power,) = Surroundings(frames, lines, [stretch])(np.array([note_hz]))
    assert power[2] == pytest.approx(0.25, rel=0.01)
    assert power[0] < 1e-6
    # Control: were the note not known to sound there, its own power would count against it.
    everywhere = replace(stretch, freq_hz=600.0)
    (blind,) = Surroundings(frames.between(0, 90), lines, [everywhere])(np.array([note_hz]))
    assert blind[0] > 0.5


def _hold(frames: Frames, hz: float, rows: IntArray) -> Hold:
    """Something held at `hz` in these rows, as the tests of notes see it."""
    source = HarmonicSource(
        rows=rows,
        numbers=np.arange(1, 15),
        freq_hz=np.full(len(rows), hz),
        cycles=hz * frames.times_s[rows],
        amplitude=np.ones((1, 14), dtype=complex),
    )
    held = Held(
        start_s=float(frames.times_s[rows[0]]),
        end_s=float(frames.times_s[rows[-1]]),
        hz=hz,
        sd_hz=0.01,
        drift_cents_per_s=0.0,
        spread_cents=0.0,
        level_db=-20.0,
    )
    return Hold(held=held, source=source)


@pytest.mark.parametrize(
    ("hz", "drone_hz", "raised", "shows"),
    [
        # A note between the drones' partials; a sound on every third of its partials, which is a drone's.
        (404.0, (1212.0, 2424.0, 3636.0, 4848.0), tuple(range(1, 15)), True),
        (404.0, (1212.0, 2424.0, 3636.0, 4848.0), (3, 6, 9, 12), False),
        # A note that lies wholly on them; drones that swell in their strong lower partials.
        (480.0, tuple(480.0 * k for k in range(1, 15)), tuple(range(1, 15)), True),
        (480.0, tuple(480.0 * k for k in range(1, 15)), tuple(range(1, 7)), False),
    ],
)
def test_a_note_over_drones_shows_where_they_are_not_or_are_weak(
    hz: float, drone_hz: tuple[float, ...], raised: tuple[int, ...], shows: bool
) -> None:
    """Partials 20 dB above what is usual, of 14: which of them decides."""
    bin_hz, rows = 12.0, np.arange(60, 90)
    rng = np.random.default_rng(5)
    spectrum = 1e-3 * rng.standard_normal((200, 620)) + 1e-3j * rng.standard_normal((200, 620))
    at = np.rint(np.array(drone_hz) / bin_hz).astype(int)
    spectrum[:, at] += 0.02
    tops = np.rint(hz * np.array(raised) / bin_hz).astype(int)
    for offset, share in ((-1, -0.5), (0, 1.0), (1, -0.5)):
        spectrum[rows[:, None], tops + offset] += share * 0.2 * (-1.0) ** rows[:, None]
    frames = Frames(spectrum=spectrum.astype(complex), bin_hz=bin_hz, hop_s=0.02, start_s=0.0)
    lines = DroneLines(hz=np.array(drone_hz), left=np.full(len(drone_hz), 0.02))
    stretch = Stretch(first=58, last=91, freq_hz=hz)
    surroundings = Surroundings(frames, lines, [stretch])
    assert beyond_drones(frames, _hold(frames, hz, rows), surroundings) is shows
