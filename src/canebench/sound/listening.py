"""One section heard: its drones, and the notes held over them.

The order matters: drones first (they are steady over the entire section and the chanter disturbs them
only in places), then the chanter on what is left, then both once more, each without the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.course import course_of, stretches
from canebench.sound.drones import DroneRun, drone_runs, refitted
from canebench.sound.holding import Hold, held_again, holds_in
from canebench.sound.spectra import Frames, amplitudes, frames_of
from canebench.sound.voices import taken_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.course import Stretch
    from canebench.sound.intake import Section

_LEAST_STRETCH_S = 0.3
#: A reed has partials at whole multiples only; more than this beside them is a voice or another pipe.
_MOST_BETWEEN = 0.5
_BETWEEN = np.array([0.25, 1 / 3, 0.5, 2 / 3, 0.75, 1.25, 1.5, 1.75])
_LEAST_PARTIALS = 3
#: Energy of the odd partials over that of the even ones, below which the pitch is an octave up; and the
#: highest pitch whose octave lies in the compass.
_LEAST_ODD, _OCTAVE_HZ = 0.04, 530.0
_MOST_COVERED, _STEADY_CENTS = 0.6, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a section holds.

    `rest` are its frames without the drones; `hidden` says that its notes were left out since they could
    not be told from the drones.
    """

    section: Section
    frames: Frames
    rest: Frames
    runs: tuple[DroneRun, ...]
    holds: tuple[Hold, ...]
    hidden: bool


def hear(section: Section) -> Heard:
    """Drones and held notes of one section."""
    frames = frames_of(section)
    runs = drone_runs(section, frames)
    rest = without_drones(frames, runs)
    course = course_of(rest, [voice for run in runs for voice in run.voices])
    found = stretches(course, frames.hop_s, least_s=_LEAST_STRETCH_S)
    holds = [hold for stretch in found for hold in _notes_in(rest, stretch)]
    hidden = False
    if runs and holds:
        chanterless = taken_from(frames, [hold.voice for hold in holds])
        runs = [refitted(chanterless, run) for run in runs]
        rest = without_drones(frames, runs)
        holds = [held_again(rest, hold) for hold in holds]
        hidden = _hidden(holds, runs)
    return Heard(
        section=section,
        frames=frames,
        rest=rest,
        runs=tuple(runs),
        holds=() if hidden else tuple(holds),
        hidden=hidden,
    )


def without_drones(frames: Frames, runs: Sequence[DroneRun]) -> Frames:
    """The frames less every drone."""
    return taken_from(frames, [voice for run in runs for voice in run.voices])


def _notes_in(rest: Frames, stretch: Stretch) -> list[Hold]:
    """The held notes of a stretch, each an octave up where only its even partials sound."""
    holds = holds_in(rest, stretch)
    if holds and _is_octave(max(holds, key=lambda hold: hold.duration_s)):
        holds = holds_in(rest, replace(stretch, freq_hz=2 * stretch.freq_hz))
    return [hold for hold in holds if not _is_octave(hold) and _is_reed(rest, hold)]


def _is_octave(hold: Hold) -> bool:
    power = np.abs(hold.voice.amplitude) ** 2
    return hold.hz < _OCTAVE_HZ and bool(power[::2].sum() < _LEAST_ODD * power[1::2].sum())


def _hidden(holds: Sequence[Hold], runs: Sequence[DroneRun]) -> bool:
    """Whether nothing tells the chanter from the drones: every note lies on them, and one of them always.

    A note on a drone's partial, steady and without one whole beat, is told apart only by the time in
    which it does not sound; so it must not be there for most of the drones' run.
    """
    if not all(any(_on_drone(hold, run) for run in runs) for hold in holds):
        return False
    shares = [
        len(hold.voice.rows) / len(run.voices[0].rows)
        for hold in holds
        for run in runs
        if _on_drone(hold, run)
    ]
    return max(shares) > _MOST_COVERED or sum(shares) < _MOST_COVERED


def _on_drone(hold: Hold, run: DroneRun) -> bool:
    if hold.spread_cents > _STEADY_CENTS:
        return False
    drones_hz = [float(np.mean(voice.freq_hz)) for voice in run.voices]
    beat_hz = min(abs(hold.hz - hz * round(hold.hz / hz)) for hz in drones_hz)
    return beat_hz * hold.duration_s < 1.0


def _is_reed(rest: Frames, hold: Hold) -> bool:
    """Whether several partials stand at whole multiples of the pitch and little between them."""
    level = np.abs(hold.voice.amplitude)
    if np.sum(level > 0.03 * level.max()) < _LEAST_PARTIALS:
        return False
    between = amplitudes(rest, np.outer(hold.voice.freq_hz, _BETWEEN), hold.voice.rows)
    return bool(
        np.median(np.sqrt(np.mean(np.abs(between) ** 2, axis=1))) < _MOST_BETWEEN * np.sqrt(np.mean(level**2))
    )
