"""One section heard: its drones, and the notes held over them.

The order matters: drones first (they are steady over the entire section and the chanter disturbs them
only in places), then the chanter on what is left; in a short take both once more, each without the
other.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.analysis.drones.drone_detection import hum_in
from canebench.sound.analysis.drones.drone_lines import drone_lines, without_drones
from canebench.sound.analysis.drones.drone_runs import DroneRun, drone_runs, refitted
from canebench.sound.analysis.notes.covered_notes import covered_notes, without_swells
from canebench.sound.analysis.notes.interference import Surroundings
from canebench.sound.analysis.notes.note_tests import (
    CROWDED,
    LEAST_SHARE,
    beyond_drones,
    crowded_s,
    is_reed,
    lost_in_drones,
    own_share,
    stands_out,
)
from canebench.sound.analysis.notes.note_tracking import Held, Hold, holds_in
from canebench.sound.analysis.notes.octaves import in_right_octave
from canebench.sound.analysis.notes.pitch_contour import contour_of, stretches
from canebench.sound.analysis.notes.room import tail_share
from canebench.sound.analysis.processing import Traces, traces_of
from canebench.sound.dsp.harmonic_source import HarmonicSource, taken_from
from canebench.sound.dsp.stft import Frames, frames_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import FloatArray
    from canebench.sound.analysis.drones.drone_detection import Hum
    from canebench.sound.analysis.readings import DroneReading
    from canebench.sound.dsp.decimation import Section

_LEAST_STRETCH_S = 0.3
_SHORT_S = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a section holds, without its spectra: a long take has many sections.

    Attributes
    ----------
    holds : tuple of Held
        Steady parts of notes, in time order.
    drones : tuple of tuples of DroneReading
        For each run of the drones, the drones in it.
    hidden : bool
        Notes were left out since they could not be told from the drones.
    shown_s : float
        How long notes sounded that show beyond the drones, s; of all notes where no drones sound.
    crowded : int
        How many notes had other voices beside them, whether they are among the holds or not.
    crowded_s : float
        How long several voices sounded at once where no drones do, s.
    hum : Hum
    traces : Traces
        Signs of what was done to the recording.
    """

    holds: tuple[Held, ...]
    drones: tuple[tuple[DroneReading, ...], ...]
    hidden: bool
    shown_s: float
    crowded: int
    crowded_s: float
    hum: Hum
    traces: Traces


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A held note and its phase, cycles, at the times of its frames [shape=(m,)]."""

    held: Held
    times_s: FloatArray
    cycles: FloatArray

    def mean_hz(self, until_s: float) -> float:
        """Mean frequency from its start to a time within it."""
        cycles = float(np.interp(until_s, self.times_s, self.cycles)) - float(self.cycles[0])
        return cycles / (until_s - float(self.times_s[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """The frames without the drones, the notes held in them, and what `Heard` says of them."""

    rest: Frames
    holds: list[Hold]
    shown_s: float
    crowded: int
    crowded_s: float


#: What was heard, how each of its notes went, and the drones' voices at the end.
Closely = tuple[Heard, tuple[Course, ...], tuple[HarmonicSource, ...]]


def hear(section: Section) -> Heard:
    """Drones and held notes of one section."""
    return hear_closely(section)[0]


def hear_closely(section: Section) -> Closely:
    """The same, and more of it.

    Parameters
    ----------
    section : Section
        Up to half a minute of a recording, decimated.

    Returns
    -------
    Closely
        What `hear` gives, the course of each held note's phase (cycles by time), and the drones at its end.
    """
    frames = frames_of(section)
    runs = drone_runs(section, frames)
    noted = _notes(frames, runs)
    hidden = False
    if runs and noted.holds and frames.count * frames.hop_s < _SHORT_S:
        # In a short take the chanter may have stood on the drones' partials for most of the time.
        chanterless = taken_from(frames, [hold.source for hold in noted.holds])
        runs = [refitted(chanterless, run) for run in runs]
        noted = _notes(frames, runs)
        hidden = bool(noted.holds) and lost_in_drones(noted.holds, runs)
    heard = Heard(
        holds=() if hidden else tuple(hold.held for hold in noted.holds),
        drones=tuple(run.readings(frames) for run in runs),
        hidden=hidden,
        shown_s=noted.shown_s,
        crowded=noted.crowded,
        crowded_s=noted.crowded_s,
        hum=hum_in(section),
        traces=traces_of(frames, noted.rest, runs, noted.holds),
    )
    times_s = frames.times_s
    courses = tuple(
        Course(held=hold.held, times_s=times_s[hold.source.rows], cycles=hold.source.cycles)
        for hold in noted.holds
    )
    return heard, () if hidden else courses, runs[-1].sources if runs else ()


def _notes(frames: Frames, runs: Sequence[DroneRun]) -> Noted:
    """The frames without the drones, as far as they can be taken out, and the notes held in them."""
    rest = without_drones(frames, runs)
    lines = drone_lines(rest, runs)
    contour = contour_of(rest, lines)
    found = stretches(contour, frames.hop_s, least_s=_LEAST_STRETCH_S)
    surroundings = Surroundings(rest, lines, found)
    seen = without_swells(runs, found, surroundings)
    seen += covered_notes(rest, runs, seen, surroundings)
    seen.sort(key=lambda own: own.first)
    settled = in_right_octave(contour, seen, Surroundings(rest, lines, seen))
    surroundings = Surroundings(rest, lines, settled)
    tail = tail_share(rest, settled, surroundings)
    parts = holds_in(rest, contour, settled, surroundings, tail_share=tail)
    holds = [hold for part in parts for hold in part if is_reed(rest, hold, surroundings)]
    holds = [hold for hold in holds if stands_out(hold, runs)]
    shares = [own_share(rest, hold, surroundings) for hold in holds]
    shown = [not runs or beyond_drones(rest, hold, surroundings) for hold in holds]
    # Over drones a share says little, without them all that is kept shows.
    kept = [bool(runs) or share > LEAST_SHARE for share in shares]
    return Noted(
        rest=rest,
        holds=list(compress(holds, kept)),
        shown_s=sum(own.held.duration_s for own in compress(holds, map(all, zip(kept, shown, strict=True)))),
        crowded=sum(share < CROWDED for share in compress(shares, shown)),
        crowded_s=0.0 if runs else crowded_s(rest, contour),
    )
