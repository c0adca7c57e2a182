"""A voice: one harmonic source followed through the frames, its phase and the amplitudes of its partials."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.dsp.stft import Frames, Lobes, lobes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """One source over the frames `rows`.

    Attributes
    ----------
    rows : int array [shape=(m,)]
        Frames in which it sounds.
    numbers : int array [shape=(k,)]
        Its partials, 1 the fundamental.
    freq_hz, cycles : float array [shape=(m,)]
        Fundamental and its phase over 2 pi at the frame centres.
    amplitude : complex array [shape=(k,)]
        Of each partial, its phase at `cycles` = 0 included.
    """

    rows: IntArray
    numbers: IntArray
    freq_hz: FloatArray
    cycles: FloatArray
    amplitude: ComplexArray

    @property
    def partial_hz(self) -> FloatArray:
        """Frequencies of the partials [shape=(m, k)]."""
        return self.freq_hz[:, None] * self.numbers

    @property
    def rotation(self) -> ComplexArray:
        """Unit phasors of the partials [shape=(m, k)]."""
        return phasors(self.cycles, self.numbers)

    def lobes(self, frames: Frames) -> Lobes:
        """Where its partials stand in the frames."""
        return lobes(frames, self.partial_hz, self.rows)

    def moved(self, cycles_step: FloatArray, hop_s: float) -> Voice:
        """The voice with its phase moved by `cycles_step` [shape=(m,)], and its frequency accordingly."""
        slope = np.gradient(cycles_step, hop_s) if len(cycles_step) > 1 else np.zeros_like(cycles_step)
        return replace(self, cycles=self.cycles + cycles_step, freq_hz=self.freq_hz + slope)


def taken_from(frames: Frames, voices: Sequence[Voice]) -> Frames:
    """The frames without these voices."""
    spectrum = frames.spectrum.copy()
    for voice in voices:
        voice.lobes(frames).take_out(spectrum, voice.amplitude * voice.rotation)
    return frames.replaced(spectrum)


def filled(voice: Voice, rows: IntArray, hop_s: float) -> Voice:
    """A voice of every second frame on all frames `rows`; `hop_s` is between its own frames.

    Between two frames the phase is Hermite's: (c0 + c1) / 2 + h (f0 - f1) / 8, an error of order h^4.
    """
    cycles, freq = np.empty(len(rows)), np.empty(len(rows))
    cycles[::2], freq[::2] = voice.cycles, voice.freq_hz
    c0, c1, f0, f1 = voice.cycles[:-1], voice.cycles[1:], voice.freq_hz[:-1], voice.freq_hz[1:]
    cycles[1::2] = (c0 + c1) / 2 + hop_s * (f0 - f1) / 8
    freq[1::2] = 1.5 * (c1 - c0) / hop_s - (f0 + f1) / 4
    return replace(voice, rows=rows, cycles=cycles, freq_hz=freq)


def phasors(cycles: FloatArray, numbers: IntArray) -> ComplexArray:
    """exp(2 pi i k cycles) [shape=(m, k)]."""
    return np.asarray(np.exp(2j * np.pi * np.outer(cycles, numbers)))


def integral(freq_hz: FloatArray, hop_s: float) -> FloatArray:
    """Phase in cycles of a course of frequency, from 0 at its first frame, by the trapezium rule."""
    return np.concatenate([[0.0], np.cumsum((freq_hz[1:] + freq_hz[:-1]) / 2) * hop_s])


def partial_numbers(freq_hz: float, top_hz: float, most: int) -> IntArray:
    """Numbers of the partials of `freq_hz` below `top_hz`, at most `most` of them."""
    return np.arange(1, max(1, min(most, int(top_hz / freq_hz))) + 1)
