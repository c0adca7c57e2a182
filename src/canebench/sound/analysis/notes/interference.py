"""What sounds where a note's partials lie while the note does not sound.

Nothing here need be right for a note to be found: it only says which partials to believe. Guarded by
`tests/analytic/test_interference.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import hz_to_cents
from canebench.sound.analysis.drones.drone_lines import loudest_near
from canebench.sound.analysis.notes.pitch_contour import COMB_TOP_HZ
from canebench.sound.dsp.phase_advance import PARTIALS
from canebench.sound.dsp.stft import amplitudes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import BoolArray, FloatArray, IntArray
    from canebench.sound.analysis.drones.drone_lines import DroneLines
    from canebench.sound.analysis.notes.pitch_contour import Stretch
    from canebench.sound.dsp.stft import Frames

#: Frames that are looked at, at most; those outside a note that are enough to know its surroundings.
_LOOKED_AT, _ENOUGH = 240, 16
#: Stretches within this many cents of one another share their surroundings, frames within this of a stretch's
#: ends and pitches within this of its own are not outside it.
_SAME_CENTS, _OWN_CENTS = 15.0, 40.0
_EDGE_FRAMES = 4
_NUMBERS = np.arange(1, PARTIALS + 1)
#: Partials of a note whose rise is looked at, and decades at which one counts fully.
_RISING, _FULL_RISE = 7, 3.0
#: What lies so far below the strongest partial is rounding or noise that comes with the note.
_NOTHING = 1e-6
#: Half the width of a line.
LINE_BINS: Final = 2.01
_RESERVE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """How far partials rise, decades of power in the mean: of one source, and of another above it.

    `own` are those of the lower source that the higher one has not, `shared` those of both.
    """

    own: float
    shared: float

    @property
    def share(self) -> float:
        """How far the lower one's own rise beside the shared ones; the reserve is for both buried."""
        return self.own / (self.shared + _RESERVE)


class Surroundings:
    """For stretches of one section: N_k of `dsp.phase_advance`, power at the places of their partials."""

    def __init__(self, rest: Frames, lines: DroneLines, stretches: Sequence[Stretch]) -> None:
        self._rest, self._lines, self._stretches = rest, lines, stretches
        self._rows = np.arange(0, rest.count, max(1, rest.count // _LOOKED_AT))

    def __call__(self, mean_hz: FloatArray) -> FloatArray:
        """Power beside a note of each of these pitches [shape=(s, PARTIALS)]."""
        found = np.empty((len(mean_hz), PARTIALS))
        order = np.argsort(mean_hz)
        cents = hz_to_cents(mean_hz[order], 1.0)
        groups = np.split(order, np.flatnonzero(np.diff(cents) > _SAME_CENTS) + 1)
        for group in groups:
            hz = float(np.median(mean_hz[group]))
            found[group] = self.beside(hz, hz, _NUMBERS)
        return found

    def elsewhere(self, hz: float, places_hz: FloatArray) -> FloatArray | None:
        """Power at `places_hz` while no note of about `hz` sounds; None where one nearly always does."""
        outside = self._outside(hz)
        if outside is None:
            return None
        return np.asarray(np.median(loudest_near(self._rest, places_hz, outside) ** 2, axis=0))

    def usual_power(self, hz: float) -> FloatArray | None:
        """Power of every bin [shape=(bins,)] while no note of about `hz` sounds; None as `elsewhere`."""
        outside = self._outside(hz)
        if outside is None:
            return None
        return np.asarray(np.median(np.abs(self._rest.spectrum[outside]) ** 2, axis=0))

    @cached_property
    def on_drones(self) -> BoolArray:
        """Which bins [shape=(bins,)] lie within a line's width of what is left of a drone."""
        freq_hz = np.arange(self._rest.spectrum.shape[1]) * self._rest.bin_hz
        near = np.abs(freq_hz[:, None] - self._lines.hz) < LINE_BINS * self._rest.bin_hz
        return np.asarray(np.any(near, axis=1))

    def beside(self, hz: float, root_hz: float, numbers: IntArray) -> FloatArray:
        """Power at these partials of `root_hz` while no note of about `hz` sounds [shape=(k,)]."""
        places = np.minimum(root_hz * numbers, self._rest.top_hz)
        known = self.elsewhere(hz, places)
        if known is not None:
            return known
        between = np.minimum(places + root_hz / 2, self._rest.top_hz)
        quiet = np.median(loudest_near(self._rest, between, self._rows), axis=0)
        near = np.abs(places[:, None] - self._lines.hz) < 2 * self._rest.bin_hz
        drone = np.max(np.where(near, self._lines.left, 0.0), axis=1, initial=0.0)
        return np.asarray(quiet**2 + drone**2)

    def rise(self, rows: IntArray, freq_hz: FloatArray, times: int, own_hz: float) -> Rise:
        """How far the partials of `freq_hz` [shape=(m,)] rise in `rows` above what is usual.

        Usual is what stands there while nothing at `own_hz` sounds; the higher source is at `times` that
        pitch.
        """
        number = np.arange(1, times * _RISING + 1)
        number = number[number * np.max(freq_hz) < min(COMB_TOP_HZ, self._rest.top_hz)]
        above = self.above(rows, freq_hz, number, own_hz)
        shared = number % times == 0
        return Rise(own=float(np.mean(above[~shared])), shared=float(np.mean(above[shared])))

    def above(self, rows: IntArray, freq_hz: FloatArray, number: IntArray, own_hz: float) -> FloatArray:
        """Decades of power, 0 to 3, by which these partials stand above what is usual [shape=(k,)].

        Parameters as in `rise`, with the partials' numbers.
        """
        read = amplitudes(self._rest, np.outer(freq_hz, number), rows)
        power = np.median(read.real**2 + read.imag**2, axis=0)
        beside = self.beside(own_hz, float(np.mean(freq_hz)), number)
        beside = beside + _NOTHING * np.max(power) + 1e-30
        return np.asarray(np.clip(np.log10((power + 1e-30) / beside), 0.0, _FULL_RISE))

    def _outside(self, hz: float) -> IntArray | None:
        """Frames in no stretch of about this pitch, of those looked at; None where they are too few."""
        inside = np.zeros(self._rest.count, dtype=bool)
        for stretch in self._stretches:
            if abs(hz_to_cents(stretch.freq_hz, hz)) < _OWN_CENTS:
                inside[max(0, stretch.first - _EDGE_FRAMES) : stretch.last + 1 + _EDGE_FRAMES] = True
        outside = self._rows[~inside[self._rows]]
        return outside if len(outside) >= _ENOUGH else None
