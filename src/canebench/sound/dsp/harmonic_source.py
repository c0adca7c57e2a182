"""A harmonic source through the frames: its phase, and its partials' changing amplitudes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.dsp.stft import Frames, Lobes, lobes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.arrays import ComplexArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class HarmonicSource:
    """One source over the frames `rows`.

    Attributes
    ----------
    rows : int array [shape=(m,)]
        Frames in which it sounds.
    numbers : int array [shape=(k,)]
        Its partials, 1 the fundamental.
    freq_hz, cycles : float array [shape=(m,)]
        Fundamental and its phase over 2 pi at the frame centres.
    amplitude : complex array [shape=(m, k) or (1, k)]
        Of each partial in each frame (or the same in all), its phase at `cycles` = 0 included.
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

    @property
    def power(self) -> FloatArray:
        """Mean square of each partial's amplitude over the frames [shape=(k,)]."""
        return np.asarray(np.mean(self.amplitude.real**2 + self.amplitude.imag**2, axis=0))

    def lobes(self, frames: Frames) -> Lobes:
        """Where its partials stand in the frames."""
        return lobes(frames, self.partial_hz, self.rows)

    def moved(self, cycles_step: FloatArray, hop_s: float) -> HarmonicSource:
        """The source with its phase moved by `cycles_step` [shape=(m,)], and its frequency accordingly."""
        slope = np.gradient(cycles_step, hop_s) if len(cycles_step) > 1 else np.zeros_like(cycles_step)
        return replace(self, cycles=self.cycles + cycles_step, freq_hz=self.freq_hz + slope)


def taken_from(frames: Frames, sources: Sequence[HarmonicSource]) -> Frames:
    """The frames without these sources."""
    spectrum = frames.spectrum.copy()
    for source in sources:
        source.lobes(frames).take_out(spectrum, source.amplitude * source.rotation)
    return frames.replaced(spectrum)


def filled(source: HarmonicSource, rows: IntArray, hop_s: float) -> HarmonicSource:
    """A source of every second frame on all frames `rows`; `hop_s` is between its own frames.

    Between two frames the phase is Hermite's: (c0 + c1) / 2 + h (f0 - f1) / 8, an error of order h^4;
    amplitudes are the mean of their neighbours.
    """
    cycles, freq = np.empty(len(rows)), np.empty(len(rows))
    cycles[::2], freq[::2] = source.cycles, source.freq_hz
    c0, c1, f0, f1 = source.cycles[:-1], source.cycles[1:], source.freq_hz[:-1], source.freq_hz[1:]
    cycles[1::2] = (c0 + c1) / 2 + hop_s * (f0 - f1) / 8
    freq[1::2] = 1.5 * (c1 - c0) / hop_s - (f0 + f1) / 4
    amplitude = source.amplitude
    if len(amplitude) > 1:
        amplitude = np.empty((len(rows), amplitude.shape[1]), complex)
        amplitude[::2] = source.amplitude
        amplitude[1::2] = (source.amplitude[:-1] + source.amplitude[1:]) / 2
    return replace(source, rows=rows, cycles=cycles, freq_hz=freq, amplitude=amplitude)


def phasors(cycles: FloatArray, numbers: IntArray) -> ComplexArray:
    """exp(2 pi i k cycles) [shape=(m, k)].

    Of consecutive partials 1, 2, 3 … each is the product of the one before with the first: that is
    quicker than as many sines, and right to k roundings.
    """
    first = np.exp(2j * np.pi * cycles)
    if len(numbers) < 3 or numbers[0] != 1 or np.any(np.diff(numbers) != 1):
        return np.asarray(np.exp(2j * np.pi * np.outer(cycles, numbers)))
    return np.asarray(
        np.multiply.accumulate(np.broadcast_to(first[:, None], (len(first), len(numbers))), axis=1)
    )


def integral(freq_hz: FloatArray, hop_s: float) -> FloatArray:
    """Phase in cycles of a course of frequency, from 0 at its first frame, by the trapezium rule."""
    return np.concatenate([[0.0], np.cumsum((freq_hz[1:] + freq_hz[:-1]) / 2) * hop_s])


def partial_numbers(freq_hz: float, top_hz: float, most: int) -> IntArray:
    """Numbers of the partials of `freq_hz` below `top_hz`, at most `most` of them."""
    return np.arange(1, max(1, min(most, int(top_hz / freq_hz))) + 1)
