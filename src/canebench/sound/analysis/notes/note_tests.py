"""Whether what was followed is a note of this chanter at all.

Guarded by `tests/analytic/test_refusals.py` and `tests/analytic/test_measure.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.analysis.drones.drone_lines import NO_LINES
from canebench.sound.analysis.notes.interference import LINE_BINS
from canebench.sound.analysis.notes.pitch_contour import COMB_TOP_HZ, MOST_PARTIALS, floor_of
from canebench.sound.dsp.stft import amplitudes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.analysis.drones.drone_runs import DroneRun
    from canebench.sound.analysis.notes.interference import Surroundings
    from canebench.sound.analysis.notes.note_tracking import Hold
    from canebench.sound.analysis.notes.pitch_contour import PitchContour
    from canebench.sound.dsp.stft import Frames

#: A reed has partials at whole multiples only; more than this beside them is a voice or another pipe.
_MOST_BETWEEN = 0.5
_BETWEEN = np.array([0.25, 1 / 3, 0.5, 2 / 3, 0.75, 1.25, 1.5, 1.75])
#: Where a source an octave down has partials and the note has none, how much may stand at all of them, and
#: how far that source may rise beside the note, of the note's own rise.
_HALVES, _MOST_HALVES, _MOST_SHARE = [2, 6], 1.2, 0.5
_LEAST_PARTIALS = 3
#: So many times what is always there may stand between a note's partials.
_USUAL = 2.0
#: Energy of a note over that of the drones (-23 dB); a chanter 6 dB below them is far above it.
_LEAST_ENERGY = 0.005
#: A note whose share of the power is below the first has other voices beside it; without drones in the take,
#: below the second it is none.
CROWDED, LEAST_SHARE = 0.85, 0.6
#: The band in which a note's share of the power is taken, in its pitch.
_BAND = (0.7, 8.5)
_MOST_COVERED, _STEADY_CENTS = 0.6, 0.5
#: How far, in decades of power, a note over drones stands above what is usual on partials that are none of
#: theirs, where there are so many; where all are, on the upper half, where drones are weak; or, through a
#: telephone, on all of them. Of recorded reeds' notes two in 500 did not; remains of drones that passed for
#: a note stood 0.3, 0.4 and 0.7 at most.
_LEAST_FREE, _FREE_RISE, _UPPER_RISE, _WHOLE_RISE = 3, 0.8, 0.6, 1.2
#: What stands so many times over the floor (amplitude) counts in a frame's share.
_OVER_FLOOR = 3.0


def stands_out(hold: Hold, runs: Sequence[DroneRun]) -> bool:
    """Whether the note is louder than what may be left of the drones when they are taken out."""
    energy = np.sum(hold.source.power)
    drones = max((sum(np.sum(v.power) for v in run.sources) for run in runs), default=0.0)
    return bool(energy > _LEAST_ENERGY * drones)


def beyond_drones(rest: Frames, hold: Hold, surroundings: Surroundings) -> bool:
    """Whether the note shows on partials where the drones are not, or are weak.

    Drones that beat, or a voice on one of their partials, raise those alone.
    """
    rows, freq_hz, hz = hold.source.rows, hold.source.freq_hz, hold.held.hz
    number = np.arange(1, MOST_PARTIALS + 1)
    number = number[number * np.max(freq_hz) < min(COMB_TOP_HZ, rest.top_hz)]
    above = surroundings.above(rows, freq_hz, number, hz)
    free = ~surroundings.on_drones[np.rint(hz * number / rest.bin_hz).astype(np.intp)]
    told, least = (
        (above[free], _FREE_RISE) if np.sum(free) >= _LEAST_FREE else (above[len(above) // 2 :], _UPPER_RISE)
    )
    return bool(np.mean(told) > least or np.mean(above) > _WHOLE_RISE)


def lost_in_drones(holds: Sequence[Hold], runs: Sequence[DroneRun]) -> bool:
    """Whether nothing tells the chanter from the drones: every note lies on them, and one of them always.

    A note on a drone's partial, steady and without one whole beat, is told apart only by the time in
    which it does not sound; so it must not be there for most of the drones' run.
    """
    if not all(any(_on_drone(hold, run) for run in runs) for hold in holds):
        return False
    shares = [
        len(hold.source.rows) / len(run.sources[0].rows)
        for hold in holds
        for run in runs
        if _on_drone(hold, run)
    ]
    return max(shares) > _MOST_COVERED or sum(shares) < _MOST_COVERED


def _on_drone(hold: Hold, run: DroneRun) -> bool:
    if hold.held.spread_cents > _STEADY_CENTS:
        return False
    drones_hz = [float(np.mean(source.freq_hz)) for source in run.sources]
    beat_hz = min(abs(hold.held.hz - hz * round(hold.held.hz / hz)) for hz in drones_hz)
    return beat_hz * hold.held.duration_s < 1.0


def is_reed(rest: Frames, hold: Hold, surroundings: Surroundings) -> bool:
    """Whether several partials stand at whole multiples of the pitch and little between them.

    What is there as well while the note does not sound (a drone's remains, another pipe) is not counted.
    """
    level = np.sqrt(hold.source.power)
    if np.sum(level > 0.03 * level.max()) < _LEAST_PARTIALS:
        return False
    places = np.outer(hold.source.freq_hz, _BETWEEN)
    # The median: a drone that beats or a gust is there for a moment only.
    between = np.median(np.abs(amplitudes(rest, places, hold.source.rows)) ** 2, axis=0)
    always = surroundings.elsewhere(hold.held.hz, hold.held.hz * _BETWEEN)
    if always is not None:
        between = np.maximum(0.0, between - _USUAL * always)
    usual = np.sqrt(np.mean(level**2))
    if np.min(between[_HALVES]) > (_MOST_HALVES * usual) ** 2:
        # Either a tenor that could not be followed, as one that is being tuned: then its odd partials come
        # with the even ones. Or what is left of one that is always there.
        octave_down = surroundings.rise(hold.source.rows, hold.source.freq_hz / 2, 2, hold.held.hz)
        if octave_down.share > _MOST_SHARE:
            return False
    return bool(np.median(np.sqrt(between)) < _MOST_BETWEEN * usual)


def own_share(rest: Frames, hold: Hold, surroundings: Surroundings) -> float:
    """How much of the power, from under the note to its eighth partial, lies on its partials.

    A chanter plays one note at a time, so nearly all of it does; of a chord's voices each has its part. What
    is left of the drones is not counted, since drones that waver leave much.
    """
    hz = hold.held.hz
    power = np.median(np.abs(rest.spectrum[hold.source.rows]) ** 2, axis=0)
    usual = surroundings.usual_power(hz)
    if usual is not None:
        power = np.maximum(0.0, power - _USUAL * usual)
    freq_hz = np.arange(len(power)) * rest.bin_hz
    band = (freq_hz > _BAND[0] * hz) & (freq_hz < min(_BAND[1] * hz, rest.top_hz))
    own = np.abs(freq_hz - hz * np.round(freq_hz / hz)) < LINE_BINS * rest.bin_hz
    band &= own | ~surroundings.on_drones
    return float(np.sum(power[band & own]) / (np.sum(power[band]) + 1e-30))


def crowded_s(rest: Frames, contour: PitchContour) -> float:
    """How long, s, less than the least share of the power lies on the partials of the pitch that stands out.

    As `own_share`, in each frame for itself, and of what stands above the floor: chords go on beside a voice
    that for a moment sounds alone. Asked only where no drones sound.
    """
    rows = np.flatnonzero(contour.sounding)
    if not len(rows):
        return 0.0
    level, hz = np.abs(rest.spectrum), contour.freq_hz[rows, None]
    floor = _OVER_FLOOR * floor_of(level, rest, NO_LINES)
    power = np.maximum(0.0, level[rows] ** 2 - floor**2)
    freq_hz = np.arange(level.shape[1]) * rest.bin_hz
    band = (freq_hz > _BAND[0] * hz) & (freq_hz < np.minimum(_BAND[1] * hz, rest.top_hz))
    own = band & (np.abs(freq_hz - hz * np.round(freq_hz / hz)) < LINE_BINS * rest.bin_hz)
    share = np.sum(power * own, axis=1) / (np.sum(power * band, axis=1) + 1e-30)
    return float(np.sum(share < LEAST_SHARE) * rest.hop_s)
