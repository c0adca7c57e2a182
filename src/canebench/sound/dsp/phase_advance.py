"""The pitch of many steady stretches at once, from how the phases of their partials advance.

Partial k of a note with phase phi advances by 2 pi k dphi from frame to frame, and each tells dphi as well
as its strength beside what else sounds there allows. Nothing else need be known of what else sounds: where
drones cover the lower partials the upper ones decide. With S_k the power of partial k, N_k what stands at
its place while the note does not sound and v_k the variance of its phase about the others', its weight is

    g_k = k^2 S_k / (N_k + a max_j S_j + b v_k S_k),

the weight k^2 S_k / N_k of least squares (Nehorai & Porat 1986) with two reserves: for partials that creep
(a: a partial 25 dB down says little of a reed's pitch, however quiet its surroundings) and for disturbances
that N_k does not hold. Frame by frame the weighted median of the partials is taken first, so that one which
slips a cycle has no say, and the weighted mean at last. S_k is a running mean over 0.15 s, so that a partial
which swells counts while it is strong. Guarded by `tests/analytic/test_phase_advance.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.dsp.harmonic_source import phasors
from canebench.sound.dsp.stft import lobes

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray, IntArray
    from canebench.sound.dsp.stft import Frames

#: Partials of the first and of the last passes.
_FIRST_PARTIALS, PARTIALS = 8, 22
#: The reserves a and b of the weights.
_CREEP, _SCATTER = 3e-3, 0.3
#: Frames over which the steps of the passes are smoothed: a contour errs from frame to frame, a reed does
#: not.
_SMOOTH_FIRST, _SMOOTH_LAST = (9, 5), (3, 3)
#: Frames to either side over which a partial's level counts as one.
_LEVEL_FRAMES = 3
#: Part of its power that a partial has at least, when its surroundings are as strong as it is.
_LEAST_OWN = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """Frames of several stretches, one after the other.

    Attributes
    ----------
    rows : int array [shape=(m,)]
        Frames of all of them.
    starts : int array [shape=(s,)]
        Where each begins in `rows`.
    freq_hz : float array [shape=(m,)]
        Roughly their pitch (to some 20 cents) in each frame.
    """

    rows: IntArray
    starts: IntArray
    freq_hz: FloatArray

    @property
    def owner(self) -> IntArray:
        """Which stretch each row is of."""
        return np.repeat(np.arange(len(self.starts)), np.diff([*self.starts, len(self.rows)]))

    def summed(self, values: FloatArray) -> FloatArray:
        """Sum over each stretch."""
        return np.asarray(np.add.reduceat(values, self.starts, axis=0))

    def mean(self, values: FloatArray) -> FloatArray:
        """Mean over each stretch."""
        length = np.diff([*self.starts, len(self.rows)])
        return np.asarray(self.summed(values) / length.reshape(-1, *[1] * (values.ndim - 1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Advance:
    """What the partials of all stretches say.

    Attributes
    ----------
    freq_hz, cycles : float array [shape=(m,)]
        Pitch and phase in each row; the phase goes on from stretch to stretch without meaning.
    stray : float array [shape=(m, k)]
        Phase of the fundamental as each partial tells it, less their weighted mean, cycles, from 0 at each
        start.
    share : float array [shape=(s, k)]
        Weight of each partial in each stretch; rows sum to 1.
    amplitude : complex array [shape=(m, k)]
        Of the partials, turned back by `cycles`.
    """

    freq_hz: FloatArray
    cycles: FloatArray
    stray: FloatArray
    share: FloatArray
    amplitude: ComplexArray


def advance_of(
    frames: Frames, stretches: Stretches, background: Callable[[FloatArray], FloatArray]
) -> Advance:
    """Follow every stretch; `background(mean_hz [(s,)])` gives N_k [(s, PARTIALS)]."""
    follower = _Follower(frames, stretches)
    noise = background(stretches.mean(stretches.freq_hz))
    follower.read(_FIRST_PARTIALS)
    for width in _SMOOTH_FIRST:
        follower.step(noise[:, :_FIRST_PARTIALS], width)
    follower.read(PARTIALS)
    for width in _SMOOTH_LAST:
        follower.step(noise, width)
    return follower.told(noise)


class _Follower:
    """The courses while they are improved: mutable on purpose, within one call."""

    def __init__(self, frames: Frames, stretches: Stretches) -> None:
        self._frames, self._stretches = frames, stretches
        self._owner = stretches.owner
        last = np.append(stretches.starts[1:] - 1, len(stretches.rows) - 1)
        self._joined: BoolArray = np.ones(len(stretches.rows), dtype=bool)
        self._joined[last] = False
        self._freq = stretches.freq_hz.copy()
        self._cycles = self._integral(self._freq)
        self._numbers: FloatArray = np.ones(1)
        self._read: ComplexArray = np.zeros((len(stretches.rows), 1), complex)
        self._scatter: FloatArray | None = None

    def _integral(self, freq_hz: FloatArray) -> FloatArray:
        ahead = np.append(freq_hz[1:], freq_hz[-1])
        step = np.where(self._joined, (freq_hz + ahead) / 2 * self._frames.hop_s, 0.0)
        return np.concatenate([[0.0], np.cumsum(step)[:-1]])

    def read(self, most: int) -> None:
        """Read the first `most` partials where they are expected now."""
        self._numbers = np.arange(1.0, most + 1)
        wanted = np.outer(self._freq, self._numbers)
        top = self._frames.top_hz
        found = lobes(self._frames, np.minimum(wanted, top), self._stretches.rows).read(self._frames)
        self._read = np.where(wanted < top, found, 0.0)
        self._scatter = None

    def _steps(self) -> FloatArray:
        """What each partial says the phase advances by beyond the course, cycles [(m, k)]; 0 at ends."""
        turned = self._read * phasors(self._cycles, self._numbers.astype(int)).conj()
        step = np.zeros(turned.shape)
        step[:-1] = np.angle(turned[1:] * turned[:-1].conj()) / (2 * np.pi * self._numbers)
        step[~self._joined] = 0.0
        return step

    def _shares(self, noise: FloatArray) -> FloatArray:
        """Weight of each partial in each row; rows sum to 1."""
        power = self._slow(self._read.real**2 + self._read.imag**2)
        beside = noise[self._owner]
        own = np.maximum(power - beside, _LEAST_OWN * power)
        beside = beside + _CREEP * power.max(axis=1, keepdims=True) + 1e-30
        if self._scatter is not None:
            beside = beside + _SCATTER * self._scatter[self._owner] * own
        weight = self._numbers**2 * own / beside
        return np.asarray(weight / weight.sum(axis=1, keepdims=True))

    def _slow(self, power: FloatArray) -> FloatArray:
        """A running mean of the power over `_LEVEL_FRAMES` to either side, within each stretch."""
        total = np.concatenate([np.zeros((1, power.shape[1])), np.cumsum(power, axis=0)])
        rows = np.arange(len(power))
        starts = self._stretches.starts[self._owner]
        ends = np.append(self._stretches.starts[1:], len(power))[self._owner]
        low, high = np.maximum(rows - _LEVEL_FRAMES, starts), np.minimum(rows + _LEVEL_FRAMES + 1, ends)
        return np.asarray((total[high] - total[low]) / (high - low)[:, None])

    def step(self, noise: FloatArray, width: int) -> None:
        """Move the course by the smoothed median of what the partials say."""
        step = self._steps()
        share = self._shares(noise)
        common = _weighted_median(step, share)
        common[~self._joined] = 0.0
        self._scatter = self._scattered(step - common[:, None])
        moved = self._smoothed(common, width)
        rate = moved / self._frames.hop_s
        # The step from a frame to the next is the mean of the two frames' changes.
        before = np.concatenate([[0.0], rate[:-1]])
        before = np.where(np.concatenate([[False], self._joined[:-1]]), before, rate)
        after = np.where(self._joined, rate, before)
        self._freq = self._freq + (before + after) / 2
        self._cycles = self._cycles + np.concatenate([[0.0], np.cumsum(moved)[:-1]])

    def _scattered(self, stray: FloatArray) -> FloatArray:
        """Variance of each partial's phase about the others' [(s, k)], radians^2."""
        phase = 2 * np.pi * self._numbers * self._run(stray)
        return self._stretches.mean((phase - self._stretches.mean(phase)[self._owner]) ** 2)

    def _run(self, step: FloatArray) -> FloatArray:
        """Sum of the steps from each stretch's start."""
        total = np.concatenate([np.zeros((1, step.shape[1])), np.cumsum(step, axis=0)[:-1]])
        return np.asarray(total - total[self._stretches.starts][self._owner])

    def _smoothed(self, values: FloatArray, width: int) -> FloatArray:
        """A running mean over `width` steps within each stretch; its sum stays nearly as it is."""
        found = np.empty_like(values)
        ends = [*self._stretches.starts[1:], len(values)]
        for start, end in zip(self._stretches.starts, ends, strict=True):
            own = values[start : end - 1]
            if len(own) <= width:
                found[start : end - 1] = own.mean() if len(own) else 0.0
            else:
                padded = np.pad(own, width // 2, mode="reflect")
                found[start : end - 1] = np.convolve(padded, np.ones(width) / width, "valid")
            found[end - 1] = 0.0
        return found

    def told(self, noise: FloatArray) -> Advance:
        """The weighted mean at last, and how the partials stray from it."""
        step, share = self._steps(), self._shares(noise)
        common = np.sum(share * step, axis=1)
        shift = np.concatenate([[0.0], np.cumsum(common)[:-1]])
        cycles = self._cycles + shift
        turned = self._read * phasors(cycles, self._numbers.astype(int)).conj()
        return Advance(
            freq_hz=self._freq,
            cycles=cycles,
            stray=self._run(step - common[:, None]),
            share=self._stretches.mean(share),
            amplitude=turned,
        )


def _weighted_median(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Along each row."""
    order = np.argsort(values, axis=1)
    total = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    at = np.sum(total < 0.5 * total[:, -1:], axis=1)
    rows = np.arange(len(values))
    return np.asarray(values[rows, order[rows, np.minimum(at, values.shape[1] - 1)]])
