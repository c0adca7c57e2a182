"""One section heard: its drones, and the notes held over them.

The order matters: drones first (they are steady over the entire section and the chanter disturbs them
only in places), then the chanter on what is left, then both once more, each without the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.course import course_of, stretches
from canebench.sound.drones import DroneRun, drone_runs, refitted
from canebench.sound.holding import Hold, held_again, holds_in
from canebench.sound.spectra import Frames, amplitudes, frames_of
from canebench.sound.voices import taken_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.intake import Section

_LEAST_STRETCH_S = 0.3
#: A reed has partials at whole multiples only; more than this beside them is a voice or another pipe.
_MOST_BETWEEN = 0.5
_BETWEEN = np.array([0.25, 1 / 3, 0.5, 2 / 3, 0.75, 1.25, 1.5, 1.75])
_LEAST_PARTIALS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a section holds; `rest` are its frames without the drones."""

    section: Section
    frames: Frames
    rest: Frames
    runs: tuple[DroneRun, ...]
    holds: tuple[Hold, ...]


def hear(section: Section) -> Heard:
    """Drones and held notes of one section."""
    frames = frames_of(section)
    runs = drone_runs(section, frames)
    rest = without_drones(frames, runs)
    course = course_of(rest, [voice for run in runs for voice in run.voices])
    found = stretches(course, frames.hop_s, least_s=_LEAST_STRETCH_S)
    holds = [hold for stretch in found for hold in holds_in(rest, stretch) if _is_reed(rest, hold)]
    if runs and holds:
        chanterless = taken_from(frames, [hold.voice for hold in holds])
        runs = [refitted(chanterless, run) for run in runs]
        rest = without_drones(frames, runs)
        holds = [held_again(rest, hold) for hold in holds]
    return Heard(
        section=section,
        frames=frames,
        rest=rest,
        runs=tuple(runs),
        holds=tuple(holds),
    )


def without_drones(frames: Frames, runs: Sequence[DroneRun]) -> Frames:
    """The frames less every drone."""
    return taken_from(frames, [voice for run in runs for voice in run.voices])


def _is_reed(rest: Frames, hold: Hold) -> bool:
    """Whether several partials stand at whole multiples of the pitch and little between them."""
    level = np.abs(hold.voice.amplitude)
    if np.sum(level > 0.03 * level.max()) < _LEAST_PARTIALS:
        return False
    between = amplitudes(rest, np.outer(hold.voice.freq_hz, _BETWEEN), hold.voice.rows)
    return bool(
        np.median(np.sqrt(np.mean(np.abs(between) ** 2, axis=1))) < _MOST_BETWEEN * np.sqrt(np.mean(level**2))
    )
