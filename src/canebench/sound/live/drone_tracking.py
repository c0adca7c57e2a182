"""Drones that an analysis found, followed from estimate to estimate, so that what is left is the chanter.

An estimate is too short to tell a well-tuned note from a drone by their pitches. But a drone's partials keep
their amplitudes and phases to one another, so three numbers place all of them: with a_k from the analysis,
and within the short window phi(t) = p + q t and level g,

    x(t) = g sum_k Re[ a_k exp(2 pi i k phi(t)) ].

p, q and log g of each drone follow by Gauss-Newton from where they were an estimate ago, all partials at
once, with Cauchy weights: a note that stands on some of the partials does not pull, since the others know
better. Guarded by `tests/analytic/test_drone_tracking.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.dsp.stft import lobes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.dsp.harmonic_source import HarmonicSource
    from canebench.sound.dsp.stft import Frames

_STEPS: Final = 2
#: How far phase (cycles) and frequency (cycles a window) go from one estimate to the next, and level (nepers)
#: from the analysis.
_STRAY: Final = np.array([0.05, 0.05, 0.1])
#: More than this share of the drones' energy left over: they are not as they were.
MOST_LEFT: Final = 0.5
#: No more than this share of them left: they are known well.
LITTLE_LEFT: Final = 0.15
#: A note touches at most half of a drone's partials.
_UNTOUCHED: Final = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Drones:
    """Drones at a moment.

    Attributes
    ----------
    at_s : number
        The moment, in the recording.
    hz, cycles : array [shape=(v,)]
        Pitch and phase of each drone there.
    owner, number : array [shape=(p,)]
        For each partial of all drones, whose it is and which.
    amplitude : complex array [shape=(p,)]
        Of each partial, where its drone's phase is 0.
    """

    at_s: float
    hz: FloatArray
    cycles: FloatArray
    owner: IntArray
    number: IntArray
    amplitude: ComplexArray

    @property
    def energy(self) -> float:
        """Sum of the squares of all partials."""
        return float(np.sum(np.abs(self.amplitude) ** 2))


def drones_of(
    voices: Sequence[HarmonicSource], *, first_s: float, hop_s: float, top_hz: float
) -> Drones | None:
    """Drones as they are at the end of an analysis, their partials up to `top_hz`.

    `first_s` and `hop_s` are of the analysis's frames. None without drones.
    """
    if not voices:
        return None
    last = max(int(voice.rows[-1]) for voice in voices)
    counts = [
        max(1, min(len(voice.numbers), int(top_hz / float(np.mean(voice.freq_hz))))) for voice in voices
    ]
    return Drones(
        at_s=first_s + last * hop_s,
        hz=np.array([float(voice.freq_hz[-1]) for voice in voices]),
        cycles=np.array(
            [
                float(voice.cycles[-1] + voice.freq_hz[-1] * hop_s * (last - voice.rows[-1]))
                for voice in voices
            ]
        ),
        owner=np.repeat(np.arange(len(voices)), counts),
        number=np.concatenate([voice.numbers[:count] for voice, count in zip(voices, counts, strict=True)]),
        amplitude=np.concatenate(
            [voice.amplitude[-1, :count] for voice, count in zip(voices, counts, strict=True)]
        ),
    )


def followed(frames: Frames, drones: Drones) -> tuple[Drones, Frames, float]:
    """The drones at the middle of the frames, the frames without them, and the share of energy left over.

    The share is that of the drone which fits worst, on partials that a note does not touch.
    """
    time = frames.hop_s * (np.arange(frames.count) - (frames.count - 1) / 2)
    middle_s = frames.start_s + frames.hop_s * (frames.count - 1) / 2
    span_s = float(time[-1] - time[0])
    shape = _shape(frames, drones)
    reader = shape.T / np.sum(shape**2, axis=1)
    cross = shape @ reader
    # Every second frame says all that there is to say.
    some = slice(None, None, 2)
    read = _through(frames.spectrum[some], reader)
    start = drones.cycles + drones.hz * (middle_s - drones.at_s)
    state = np.zeros((len(drones.hz), 3))
    for _ in range(_STEPS):
        own = _own(drones, start, state, time[some], span_s)
        state = state + _step(drones, own, cross, read - _through(own, cross), time[some] / span_s, state)
    own = _own(drones, start, state, time, span_s)
    there = _through(own[some], cross)
    left = np.sum(np.abs(read - there) ** 2, axis=0) / (np.sum(np.abs(there) ** 2, axis=0) + 1e-18)
    moved = replace(drones, at_s=middle_s, hz=drones.hz + state[:, 1] / span_s, cycles=start + state[:, 0])
    worst = max(_untouched(left[drones.owner == voice]) for voice in range(len(drones.hz)))
    return moved, frames.replaced(frames.spectrum - _through(own, shape)), worst


def _untouched(left: FloatArray) -> float:
    return float(np.sort(left)[int(_UNTOUCHED * (len(left) - 1))])


def _through(values: ComplexArray, matrix: FloatArray) -> ComplexArray:
    """The product; NumPy would make the real matrix complex first, for twice the work."""
    product = np.empty((len(values), matrix.shape[1]), dtype=complex)
    product.real, product.imag = values.real @ matrix, values.imag @ matrix
    return product


def _shape(frames: Frames, drones: Drones) -> FloatArray:
    """What each partial looks like in a spectrum [shape=(partials, bins)]."""
    where = lobes(frames, (drones.hz[drones.owner] * drones.number)[None, :], np.zeros(1, dtype=np.intp))
    shape = np.zeros((len(drones.owner), frames.spectrum.shape[1]))
    np.put_along_axis(shape, where.bins[0], where.weights[0], axis=1)
    return shape


def _own(
    drones: Drones, start: FloatArray, state: FloatArray, time: FloatArray, span_s: float
) -> ComplexArray:
    """Every partial in every frame [shape=(frames, partials)]."""
    cycles = start + state[:, 0] + np.outer(time, drones.hz + state[:, 1] / span_s)
    turn = np.exp(2j * np.pi * cycles[:, drones.owner] * drones.number)
    return np.asarray(turn * (drones.amplitude * np.exp(state[drones.owner, 2])))


def _step(
    drones: Drones,
    own: ComplexArray,
    cross: FloatArray,
    left: ComplexArray,
    place: FloatArray,
    state: FloatArray,
) -> FloatArray:
    """One step of Gauss-Newton from what is left of the readings."""
    power = left.real**2 + left.imag**2
    root = np.sqrt(1.0 / (np.sort(power, axis=0)[len(power) // 2] + power + 1e-18))
    voices = len(state)
    columns = np.empty((voices, 3, *own.shape), dtype=complex)
    for voice in range(voices):
        mine = np.flatnonzero(drones.owner == voice)
        level = root * _through(own[:, mine], cross[mine])
        turned = 2j * np.pi * drones.number[mine] * own[:, mine]
        columns[voice, 0] = root * _through(turned, cross[mine])
        columns[voice, 1] = columns[voice, 0] * place[:, None]
        columns[voice, 2] = level
    flat = columns.reshape(3 * voices, -1)
    normal = (flat.conj() @ flat.T).real
    right = (flat.conj() @ (root * left).ravel()).real
    # Frames that are two apart share a good part of their sound.
    prior = 2 * np.tile(1.0 / _STRAY**2, voices)
    step = np.linalg.solve(normal + np.diag(prior), right - prior * state.ravel())
    return np.asarray(step.reshape(state.shape))
