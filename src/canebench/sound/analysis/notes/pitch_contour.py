"""The chanter's course: its pitch frame by frame, to a few cents, and the stretches where it holds a note.

Each candidate pitch is scored by how far its partials stand above the floor, in decades and clipped, so
that many partials count more than one loud one. The floor holds noise and what the drones leave.
Guarded by `tests/analytic/test_pitch_contour.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from statistics import median
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import CENTS_PER_OCTAVE, cents_to_hz, hz_to_cents

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, FloatArray, IntArray
    from canebench.sound.analysis.drones.drone_lines import DroneLines
    from canebench.sound.dsp.stft import Frames

#: Low G of the flattest chanter to high A of the sharpest, with room for notes that are off.
COMPASS_HZ = (352.0, 1060.0)
_GRID_CENTS = 6.0
MOST_PARTIALS: Final = 14
#: Partials above this are not looked at to find or judge a note.
COMB_TOP_HZ = 8_000.0
#: Decades above the floor (amplitude) at which a partial counts fully.
_FULL = 1.5
#: A candidate of K partials is worth sum / K^p: with p < 1 the lower of two that fit equally wins.
_CROWD = 0.7
#: Support at which a note sounds; over drones, which cover some partials, less must do.
_SOUNDING, _OVER_DRONES = 0.45, 0.3
#: What is left of a drone's line counts from so far above its usual amplitude: lines beat.
_OVER_LINE = 2.0
_JUMP_CENTS = 28.0
#: The contour is trusted so far about a stretch's own pitch, cents.
_TRUSTED_CENTS = 30.0
_EDGE_FRAMES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Frames `first` to `last` (inclusive) in which the chanter holds about `freq_hz`."""

    first: int
    last: int
    freq_hz: float

    def moved(self, frames: int) -> Stretch:
        """The same so many frames later."""
        return replace(self, first=self.first + frames, last=self.last + frames)

    def inner_rows(self) -> IntArray:
        """Every second of its frames without its ends, which other notes share."""
        rows = np.arange(self.first, self.last + 1)
        edge = min(_EDGE_FRAMES, (len(rows) - 1) // 2)
        return rows[edge : len(rows) - edge : 2]


@dataclass(frozen=True, slots=True, kw_only=True)
class PitchContour:
    """Pitch (Hz) in each frame, how well it is supported (decades), and where the chanter sounds."""

    freq_hz: FloatArray
    support: FloatArray
    sounding: BoolArray


def contour_of(rest: Frames, lines: DroneLines) -> PitchContour:
    """Best pitch in each frame of `rest`, the frames without drones; `lines` may be left of them."""
    level = np.abs(rest.spectrum)
    above = np.log10((level + 1e-12) / floor_of(level, rest, lines))
    above = _over_time(np.clip(above, 0.0, _FULL))
    freq, support = best_pitch(rest, above)
    return PitchContour(
        freq_hz=freq, support=support, sounding=support > (_OVER_DRONES if len(lines.hz) else _SOUNDING)
    )


def best_pitch(rest: Frames, above: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pitch (Hz) whose partials stand highest in each frame, and its support.

    `above` [shape=(frames, bins)] is how far the bins of `rest` stand above what is usual, decades.
    """
    pitch, weights, crowd = _comb_weights(above.shape[1], rest.bin_hz, rest.top_hz, _CROWD)
    score = above @ weights
    top = np.clip(np.argmax(score, axis=1), 1, len(pitch) - 2)
    rows = np.arange(len(score))
    left, mid, right = score[rows, top - 1], score[rows, top], score[rows, top + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < -1e-9, 0.5 * (left - right) / np.where(bend < -1e-9, bend, -1.0), 0.0)
    freq = pitch[top] * np.exp2(np.clip(shift, -1, 1) * _GRID_CENTS / CENTS_PER_OCTAVE)
    support = mid / crowd[top]
    return np.asarray(freq), np.asarray(support)


def _over_time(values: FloatArray) -> FloatArray:
    """A mean over three frames: two sources on one line beat, and for a moment neither stands out."""
    if len(values) < 3:
        return values
    found = values.copy()
    found[1:-1] = (values[:-2] + values[1:-1] + values[2:]) / 3
    return found


def stretches(course: PitchContour, hop_s: float, *, least_s: float) -> list[Stretch]:
    """Runs of frames at one pitch of at least `least_s`; a lone stray frame does not end a run."""
    cents = CENTS_PER_OCTAVE * np.log2(course.freq_hz / COMPASS_HZ[0])
    found: list[Stretch] = []
    run: list[int] = []
    for frame in range(len(cents) + 1):
        if run and (frame == len(cents) or frame - run[-1] > 2):
            _close(run, course, hop_s, least_s, found)
            run = []
        if frame == len(cents) or not course.sounding[frame]:
            continue
        if not run or abs(cents[frame] - median(cents[run[-7:]])) < _JUMP_CENTS:
            run.append(frame)
        elif frame + 1 < len(cents) and abs(cents[frame + 1] - cents[frame]) < _JUMP_CENTS:
            # Two frames agree on another pitch: the note has changed.
            _close(run, course, hop_s, least_s, found)
            run = [frame]
    return found


def expected_hz(contour: PitchContour, stretch: Stretch, rows: IntArray) -> FloatArray:
    """The contour's pitch in these rows, smoothed; what strays is the stretch's own."""
    cents = hz_to_cents(contour.freq_hz[rows], stretch.freq_hz)
    near = np.where(np.abs(cents) < _TRUSTED_CENTS, cents, 0.0)
    width = min(9, len(near)) | 1
    padded = np.pad(near, width // 2, mode="edge")
    smooth = np.convolve(padded, np.ones(width) / width, "valid")[: len(near)]
    return cents_to_hz(smooth, stretch.freq_hz)


def _close(run: list[int], course: PitchContour, hop_s: float, least_s: float, found: list[Stretch]) -> None:
    if (run[-1] - run[0]) * hop_s >= least_s:
        freq = float(np.median(course.freq_hz[run]))
        found.append(Stretch(first=run[0], last=run[-1], freq_hz=freq))


def floor_of(level: FloatArray, rest: Frames, lines: DroneLines) -> FloatArray:
    """Amplitude below which a bin says nothing [shape=(1, bins)]."""
    quiet = _quantile(level, 0.15)
    width = 9
    padded = np.pad(np.log(quiet + 1e-12), width, mode="edge")
    view = np.lib.stride_tricks.sliding_window_view(padded, 2 * width + 1)
    floor = 1.5 * np.exp(_quantile(view.T, 0.3))
    floor = np.maximum(floor, faint(level))
    centre = np.rint(lines.hz / rest.bin_hz).astype(int)
    for offset in range(-2, 3):
        at = np.clip(centre + offset, 0, len(floor) - 1)
        np.maximum.at(floor, at, _OVER_LINE * lines.left / (1 + offset**2))
    return np.asarray(floor[None, :])


def faint(level: FloatArray) -> float:
    """Amplitude 60 dB below the loudest bins of loud frames: nothing of a note is told from less."""
    return 1e-3 * float(_quantile(level.max(axis=1), 0.8))


def _quantile(values: FloatArray, share: float) -> FloatArray:
    """Quantile along the first axis: NumPy's own takes three times as long for so few values."""
    ordered = np.sort(values, axis=0)
    place = share * (len(ordered) - 1)
    low = int(place)
    above = ordered[min(low + 1, len(ordered) - 1)]
    return np.asarray(ordered[low] + (place - low) * (above - ordered[low]))


@cache
def _comb_weights(
    bins: int, bin_hz: float, top_hz: float, crowding: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Candidates, the matrix from bins to them, and the K^(1-p) by which a candidate's score is a mean."""
    octaves = np.log2(COMPASS_HZ[1] / COMPASS_HZ[0])
    pitch = COMPASS_HZ[0] * np.exp2(np.arange(0, CENTS_PER_OCTAVE * octaves, _GRID_CENTS) / CENTS_PER_OCTAVE)
    weights = np.zeros((bins, len(pitch)))
    # One top for all rates: with more room for an octave's partials it would seem as crowded as its root.
    count = np.minimum(MOST_PARTIALS, (min(COMB_TOP_HZ, top_hz) / pitch).astype(int))
    column = np.arange(len(pitch))
    for k in range(1, MOST_PARTIALS + 1):
        used = count >= k
        position = k * pitch[used] / bin_hz
        low = position.astype(int)
        share = position - low
        scale = 1.0 / count[used] ** crowding
        weights[low, column[used]] += (1 - share) * scale
        weights[low + 1, column[used]] += share * scale
    return pitch, weights, count ** (1 - crowding)
