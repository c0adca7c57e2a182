"""Notes that lie on the drones' partials, all of them: low A, E and high A, where the drones are strong.

What drones that waver leave behind when they are taken out is as strong there as such a note, so the contour
does not see it in any one frame. Over a third of a second it does: its lines rise above what they usually
are. Lines also rise where the drones themselves swell or are followed badly; then those of their partials
rise as well on which the note has none. Guarded by `tests/analytic/test_covered_notes.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.analysis.notes.pitch_contour import PitchContour, best_pitch, faint, stretches

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.sound.analysis.drones.drone_runs import DroneRun
    from canebench.sound.analysis.notes.interference import Surroundings
    from canebench.sound.analysis.notes.pitch_contour import Stretch
    from canebench.sound.dsp.stft import Frames

#: A note is looked for where none was found for so long, over so many frames at a time.
LEAST_GAP_S = 0.5
_FRAMES = 15
#: Decades, at most, by which a bin counts above or below its usual level; what tells a note.
_BELOW, _FULL, _SOUNDING = -0.3, 1.0, 0.25
#: Frames at its ends that a gap shares with the notes beside it.
_EDGE_FRAMES = 4
#: A note lies on a drone's partial within so much.
_ON_LINE_HZ = 7.0
#: Of a covered note the drones swell at most so far beside it, and it rises at least so many decades;
#: beside one that the contour saw they may more (recorded reeds: 0.37, 0.42 and, of 98 in 100, 0.58).
_MOST_SWELL, _LEAST_RISE, _MOST_SWELL_SEEN = 0.36, 0.42, 0.8


def covered_notes(
    rest: Frames,
    runs: Sequence[DroneRun],
    found: Sequence[Stretch],
    surroundings: Surroundings,
) -> list[Stretch]:
    """Stretches on the drones' partials in the gaps between those `found`."""
    gaps = list(_gaps(rest, runs, found))
    if not gaps:
        return []
    level = np.abs(rest.spectrum)
    usual = np.median(level, axis=0) + faint(level) + 1e-12
    covered = []
    for run, first, last in gaps:
        above = np.clip(np.log10((level[first : last + 1] + 1e-12) / usual), _BELOW, _FULL)
        freq_hz, support = best_pitch(rest, _slow(above))
        slow = PitchContour(freq_hz=freq_hz, support=support, sounding=support > _SOUNDING)
        for part in stretches(slow, rest.hop_s, least_s=LEAST_GAP_S):
            placed = part.moved(first)
            rise = swelling(placed, run, surroundings)
            if rise is not None and rise[0] < _MOST_SWELL and rise[1] > _LEAST_RISE:
                covered.append(placed)
    return covered


def without_swells(
    runs: Sequence[DroneRun], found: Sequence[Stretch], surroundings: Surroundings
) -> list[Stretch]:
    """The stretches less those in which a drone swells and no note sounds."""
    kept = []
    for own in found:
        rises = [rise for run in runs if (rise := swelling(own, run, surroundings)) is not None]
        if all(beside < _MOST_SWELL_SEEN for beside, _ in rises):
            kept.append(own)
    return kept


def _gaps(
    rest: Frames, runs: Sequence[DroneRun], found: Sequence[Stretch]
) -> Iterator[tuple[DroneRun, int, int]]:
    """Frames of each run, first and last, in which nothing was found for long enough."""
    for run in runs:
        rows = run.sources[0].rows
        free: BoolArray = np.zeros(rest.count + 2, dtype=bool)
        free[rows[0] + 1 : rows[-1] + 2] = True
        for own in found:
            free[max(0, own.first + 1 - _EDGE_FRAMES) : own.last + 2 + _EDGE_FRAMES] = False
        edges = np.flatnonzero(np.diff(free.astype(int)))
        for first, end in zip(edges[::2], edges[1::2], strict=True):
            if (end - first) * rest.hop_s >= LEAST_GAP_S:
                yield run, int(first), int(end) - 1


def _slow(above: FloatArray) -> FloatArray:
    """A running mean over `_FRAMES`, or over all there are."""
    width = min(_FRAMES, len(above)) | 1
    padded = np.pad(above, ((width // 2, width // 2), (0, 0)), mode="edge")
    total = np.cumsum(np.pad(padded, ((1, 0), (0, 0))), axis=0)
    return np.asarray((total[width:] - total[:-width]) / width)


def swelling(own: Stretch, run: DroneRun, surroundings: Surroundings) -> tuple[float, float] | None:
    """How far the drones swell while a note on their partials sounds, beside it, and it itself in decades.

    None where it lies on no partial of a drone. A note makes its own partials rise, and no others.
    """
    rows = own.inner_rows()
    rises = []
    for source in run.sources:
        drone_hz, inside = float(np.mean(source.freq_hz)), rows[np.isin(rows, source.rows)]
        times = round(own.freq_hz / drone_hz)
        if times > 1 and len(inside) and abs(own.freq_hz - times * drone_hz) < _ON_LINE_HZ:
            freq_hz = source.freq_hz[inside - source.rows[0]]
            rises.append(surroundings.rise(inside, freq_hz, times, own.freq_hz))
    if not rises:
        return None
    return float(np.mean([rise.share for rise in rises])), float(np.mean([rise.shared for rise in rises]))
