"""The drones' partials: taken out of the frames where that helps, and what may be left of them.

Guarded by `tests/analytic/test_interference.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import BoolArray, FloatArray, IntArray
    from canebench.sound.analysis.drones.drone_runs import DroneRun
    from canebench.sound.dsp.stft import Frames

#: At the least and at the most, what is left of a drone's amplitude where it was taken out.
_LEAST_LEFT, _LEFT_MARGIN = 0.03, 1.5
#: Lines over which what is left is compared, and the share of them that no note touches for most of the time.
_NEIGHBOURS, _UNTOUCHED = 9, 0.35
#: A line is taken out only where that leaves less than there was, block by block, s.
_BLOCK_S = 0.7
#: Share of energy, at most, that is left of drones that were followed well.
_ALL_BUT_GONE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class DroneLines:
    """Partials of all drones: their frequencies, and the amplitude that may be left of each [shape=(p,)]."""

    hz: FloatArray
    left: FloatArray


NO_LINES: Final = DroneLines(hz=np.zeros(0), left=np.zeros(0))


def without_drones(frames: Frames, runs: Sequence[DroneRun]) -> Frames:
    """The frames less every drone; a line that would be louder for it stays as it was."""
    spectrum = frames.spectrum.copy()
    block = max(1, round(_BLOCK_S / frames.hop_s))
    for run in runs:
        rows = run.sources[0].rows
        for source in run.sources:
            source.lobes(frames).take_out(spectrum, source.amplitude * source.rotation)
        centre = np.unique(np.rint(_lines_of(run)[0] / frames.bin_hz).astype(np.intp))
        edges = np.arange(0, len(rows), block)
        bins = np.clip(centre[:, None] + np.arange(-1, 2), 0, spectrum.shape[1] - 1)
        before, after = (
            np.add.reduceat(np.sum(np.abs(part[rows][:, bins]) ** 2, axis=2), edges, axis=0)
            for part in (frames.spectrum, spectrum)
        )
        for at, line in np.argwhere((after > before) & ~_followed_well(before, after)):
            own = rows[edges[at] : edges[at] + block]
            wide = slice(max(0, centre[line] - 3), centre[line] + 4)
            spectrum[own, wide] = frames.spectrum[own, wide]
    return frames.replaced(spectrum)


def _followed_well(before: FloatArray, after: FloatArray) -> BoolArray:
    """Lines [shape=(1, p)] whose neighbours, where no note touches them, are all but gone.

    There the line is louder without the drone since a note on it and the drone had stood against each other.
    `before` and `after` are the energies of blocks of lines [shape=(blocks, p)].
    """
    left = np.quantile(after / (before + 1e-30), _UNTOUCHED, axis=0)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(left, _NEIGHBOURS // 2, mode="edge"), _NEIGHBOURS)
    return np.asarray(np.quantile(near, _UNTOUCHED, axis=1) < _ALL_BUT_GONE)[None, :]


def _lines_of(run: DroneRun) -> tuple[FloatArray, FloatArray]:
    hz = np.concatenate([float(np.mean(source.freq_hz)) * source.numbers for source in run.sources])
    level = np.concatenate([np.sqrt(source.power) for source in run.sources])
    return hz, level


def drone_lines(rest: Frames, runs: Sequence[DroneRun]) -> DroneLines:
    """What may be left of each drone's partials in `rest`, the frames without them.

    Where a line is louder than its neighbours' remains, a note stands there; those tell what is the drone's.
    """
    parts = []
    for run in runs:
        hz, level = _lines_of(run)
        order = np.argsort(hz)
        hz, level = hz[order], level[order]
        found = np.median(loudest_near(rest, hz, run.sources[0].rows[::4]), axis=0)
        ratio = np.pad(found / (level + 1e-12), _NEIGHBOURS // 2, mode="edge")
        near = np.lib.stride_tricks.sliding_window_view(ratio, _NEIGHBOURS)
        usual = np.quantile(near, _UNTOUCHED, axis=1)
        left = np.minimum(found, _LEFT_MARGIN * usual * level)
        parts.append((hz, np.maximum(left, _LEAST_LEFT * level)))
        above = _untracked(rest, run)
        parts.append((above, np.median(loudest_near(rest, above, run.sources[0].rows[::4]), axis=0)))
    if not parts:
        return NO_LINES
    return DroneLines(
        hz=np.concatenate([hz for hz, _ in parts]), left=np.concatenate([left for _, left in parts])
    )


def _untracked(frames: Frames, run: DroneRun) -> FloatArray:
    """Frequencies of the partials above those that were followed."""
    parts = []
    for source in run.sources:
        hz = float(np.mean(source.freq_hz))
        parts.append(hz * np.arange(source.numbers[-1] + 1, int(frames.top_hz / hz) + 1))
    return np.unique(np.rint(np.concatenate(parts) / frames.bin_hz)) * frames.bin_hz


def loudest_near(frames: Frames, hz: FloatArray, rows: IntArray) -> FloatArray:
    """Amplitude of the loudest of three bins about each frequency [(rows, p)]."""
    centre = np.clip(np.rint(hz / frames.bin_hz).astype(np.intp), 1, frames.spectrum.shape[1] - 2)
    level = np.abs(frames.spectrum[rows[:, None, None], centre[:, None] + np.arange(-1, 2)])
    return np.asarray(level.max(axis=2))
