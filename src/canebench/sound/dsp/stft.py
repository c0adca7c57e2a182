"""Short Hann-windowed spectra, and the amplitude of a partial read from a few of their bins.

Each frame's phase refers to the frame's centre, where the transform of the window is real: a partial of
complex amplitude a at b bins shows as a W(j - b) in bin j, with (Harris 1978, Hann)
W(d) = sinc(d) + (sinc(d - 1) + sinc(d + 1)) / 2, normalised here to W(0) = 1.
The least-squares amplitude over the bins J near b is sum X_j W(j - b) / sum W(j - b)^2.
Guarded by `tests/analytic/test_stft.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray, IntArray
    from canebench.sound.dsp.decimation import Section

WINDOW_S = 0.0853
_HOPS_PER_WINDOW = 4
#: Lengths of a transform without large prime factors, multiples of 64, up to the highest rate.
_QUICK_SIZES: Final = sorted(64 * 2**two * odd for two in range(8) for odd in (1, 3, 5, 9, 15, 25))
#: Bins each side of a partial that carry it: the main lobe is two wide, the third is -32 dB.
_REACH = 3
_OFFSETS = np.arange(-_REACH, _REACH + 1)
_STEPS = 8192
_TABLE_RANGE = _REACH + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """Spectra of a section.

    Attributes
    ----------
    spectrum : complex array [shape=(frames, bins)]
        A cosine of amplitude A has modulus A at its bin.
    bin_hz, hop_s : number
        Width of a bin and distance of frames.
    start_s : number
        Time of the first frame's centre in the recording.
    """

    spectrum: ComplexArray
    bin_hz: float
    hop_s: float
    start_s: float

    @property
    def count(self) -> int:
        """Number of frames."""
        return len(self.spectrum)

    def replaced(self, spectrum: ComplexArray) -> Frames:
        """The same frames with another spectrum."""
        return Frames(spectrum=spectrum, bin_hz=self.bin_hz, hop_s=self.hop_s, start_s=self.start_s)

    def between(self, first: int, end: int) -> Frames:
        """The frames from `first` up to `end`."""
        return Frames(
            spectrum=self.spectrum[first:end],
            bin_hz=self.bin_hz,
            hop_s=self.hop_s,
            start_s=self.start_s + first * self.hop_s,
        )

    def thinned(self) -> Frames:
        """Every second frame."""
        return Frames(
            spectrum=self.spectrum[::2], bin_hz=self.bin_hz, hop_s=2 * self.hop_s, start_s=self.start_s
        )

    @property
    def top_hz(self) -> float:
        """Highest frequency at which a partial can be read whole."""
        return float((self.spectrum.shape[1] - 2 - _REACH) * self.bin_hz * 0.9)

    @property
    def times_s(self) -> FloatArray:
        """Centres of the frames in the recording, s."""
        return self.start_s + self.hop_s * np.arange(self.count)


def frames_of(section: Section) -> Frames:
    """Hann spectra of 85 ms every 21 ms; every window lies whole within the section."""
    size, hop = window_and_hop(section.rate_hz)
    signal = np.pad(section.signal, (0, max(0, size - len(section.signal))))
    cut = np.lib.stride_tricks.sliding_window_view(signal, size)[::hop]
    return Frames(
        spectrum=spectra_of(cut),
        bin_hz=section.rate_hz / size,
        hop_s=hop / section.rate_hz,
        start_s=section.start_s + size / 2 / section.rate_hz,
    )


def window_and_hop(rate_hz: float) -> tuple[int, int]:
    """Samples of a window, and from one to the next."""
    size = min(_QUICK_SIZES, key=lambda size: abs(size - WINDOW_S * rate_hz))
    return size, size // _HOPS_PER_WINDOW


def spectra_of(cut: FloatArray) -> ComplexArray:
    """Spectra of stretches of one window each [shape=(frames, size)]."""
    spectrum = np.fft.rfft(cut * _window(cut.shape[1]), axis=1)
    # Refer phases to the frame's centre: a delay of half the window is (-1)^j.
    spectrum[:, 1::2] *= -1.0
    return np.asarray(spectrum)


@cache
def _window(size: int) -> FloatArray:
    """Hann, scaled so that a cosine shows with its amplitude."""
    return np.asarray((0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)) * 4 / size)


@dataclass(frozen=True, slots=True)
class Lobes:
    """Where partials stand in the spectra.

    `bins` [shape=(m, k, 7)], the window's transform at them (`weights`) and its sum of squares (`energy`).
    """

    rows: IntArray
    bins: IntArray
    weights: FloatArray
    energy: FloatArray

    def read(self, frames: Frames) -> ComplexArray:
        """Least-squares complex amplitude of each partial in each frame [shape=(m, k)]."""
        picked = frames.spectrum[self.rows[:, None, None], self.bins]
        return np.asarray(np.einsum("mkj,mkj->mk", picked, self.weights) / self.energy)

    def take_out(self, spectrum: ComplexArray, amplitude: ComplexArray) -> None:
        """Subtract partials of that amplitude [shape=(m, k)] from a spectrum that the caller owns."""
        for j in range(len(_OFFSETS)):
            # One bin offset at a time: within it no two partials of a source share a bin.
            spectrum[self.rows[:, None], self.bins[..., j]] -= amplitude * self.weights[..., j]


def lobes(frames: Frames, freq_hz: FloatArray, rows: IntArray | None = None) -> Lobes:
    """The lobes of partials at `freq_hz` [shape=(m, k)] in the frames `rows`, or in all of them in order."""
    position = freq_hz / frames.bin_hz
    centre = np.clip(np.rint(position).astype(np.intp), _REACH, frames.spectrum.shape[1] - 1 - _REACH)
    nearest = np.rint((centre - position + _TABLE_RANGE) * _STEPS).astype(np.intp)
    nearest = np.clip(nearest, _REACH * _STEPS, len(_TABLE) - 1 - _REACH * _STEPS)
    at = np.arange(frames.count) if rows is None else rows
    weights = _TABLE[nearest[..., None] + _OFFSETS * _STEPS]
    return Lobes(at, centre[..., None] + _OFFSETS, weights, _ENERGY[nearest])


def amplitudes(frames: Frames, freq_hz: FloatArray, rows: IntArray | None = None) -> ComplexArray:
    """Complex amplitude at `freq_hz` [shape=(m, k)] in each frame, by least squares."""
    return lobes(frames, freq_hz, rows).read(frames)


def amplitudes_at(frames: Frames, freq_hz: FloatArray) -> ComplexArray:
    """The same at frequencies that are one for all frames [shape=(k,)], for a seventh of the work."""
    where = lobes(frames, freq_hz[None, :], np.zeros(1, dtype=np.intp))
    picked = frames.spectrum[:, where.bins[0]]
    return np.asarray(np.einsum("mkj,kj->mk", picked, where.weights[0]) / where.energy[0])


def overlap(distance_bins: FloatArray) -> FloatArray:
    """How much of a partial shows in the amplitude read `distance_bins` away from it (1 at 0)."""
    table = _overlap_table()
    return np.asarray(np.interp(np.abs(distance_bins), np.linspace(0, 8, len(table)), table, right=0.0))


@cache
def _overlap_table() -> FloatArray:
    distance = np.linspace(0, 8, 801)
    own = _hann(_OFFSETS.astype(float))
    return np.array([np.sum(own * _hann(_OFFSETS - d)) for d in distance]) / np.sum(own**2)


def _hann(distance_bins: FloatArray) -> FloatArray:
    return np.asarray(
        np.sinc(distance_bins) + 0.5 * (np.sinc(distance_bins - 1.0) + np.sinc(distance_bins + 1.0))
    )


_TABLE = _hann(np.arange(-_TABLE_RANGE * _STEPS, _TABLE_RANGE * _STEPS + 1) / _STEPS)
_INNER = np.arange(_REACH * _STEPS, len(_TABLE) - _REACH * _STEPS)
_ENERGY = np.ones_like(_TABLE)
_ENERGY[_INNER] = sum(_TABLE[_INNER + offset * _STEPS] ** 2 for offset in _OFFSETS)
