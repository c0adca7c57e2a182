"""Samples as they come: decimated without a seam, and the spectra of the newest seconds kept.

Blocks of any length give the same, to the last bit of each frame. Guarded by
`tests/invariants/test_live_blocks.py` and `tests/invariants/test_live_breaks.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.sound.dsp.decimation import Section, factor_for, offset_of, taps_of
from canebench.sound.dsp.stft import Frames, spectra_of, window_and_hop

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray

#: How much of the newest sound is kept, s: for an analysis, and in spectra.
KEPT_S: Final = 3.0
_SPECTRA_S: Final = 1.5
#: Output samples are made so many at a time, so that blocks of any length round alike.
_CHUNK: Final = 256


class Incoming:
    """A stream since its last break: mutable on purpose, one for each microphone."""

    def __init__(self, rate_hz: float) -> None:
        self._factor = factor_for(rate_hz)
        # Nothing is to be filtered where nothing is left out.
        self._taps = taps_of(self._factor) if self._factor > 1 else np.ones(1)
        self.rate_hz = rate_hz / self._factor
        self._size, self._hop = window_and_hop(self.rate_hz)
        self.begin(0.0)

    def begin(self, at_s: float) -> None:
        """Start anew at a time of the recording: what was before is not joined to what comes."""
        # Half the filter's length before the first sample is silence, so the first output is at it.
        self._raw: FloatArray = np.zeros(len(self._taps) // 2)
        self._signal: FloatArray = np.zeros(0)
        self._made, self._first = 0, 0
        self._rows: list[ComplexArray] = []
        self._framed = 0
        self.began_s = at_s

    def add(self, samples: FloatArray) -> None:
        """More samples, at the microphone's rate."""
        self._raw = np.concatenate([self._raw, samples])
        need = _CHUNK * self._factor
        parts = [self._signal]
        while len(self._raw) >= need + len(self._taps):
            cut = np.lib.stride_tricks.sliding_window_view(
                self._raw[: need - self._factor + len(self._taps)], len(self._taps)
            )[:: self._factor]
            parts.append(cut @ self._taps)
            self._raw = self._raw[need:]
            self._made += _CHUNK
        if len(parts) > 1:
            self._signal = np.concatenate(parts)[-round(KEPT_S * self.rate_hz) :]
            self._frame()

    def _frame(self) -> None:
        start = self._made - len(self._signal)
        while self._framed * self._hop + self._size <= self._made:
            at = self._framed * self._hop - start
            self._framed += 1
            if at >= 0:
                self._rows.append(spectra_of(self._signal[None, at : at + self._size])[0])
        del self._rows[: -round(_SPECTRA_S * self.rate_hz / self._hop)]

    @property
    def now_s(self) -> float:
        """The end of the newest decimated sample in the recording, s."""
        return self.began_s + self._made / self.rate_hz

    @property
    def framed(self) -> int:
        """How many frames there were since the beginning."""
        return self._framed

    @property
    def hop_s(self) -> float:
        """From one frame to the next, s."""
        return self._hop / self.rate_hz

    @property
    def window_s(self) -> float:
        """Length of a frame, s."""
        return self._size / self.rate_hz

    @property
    def kept(self) -> int:
        """How many frames there still are; none just after a break."""
        return len(self._rows)

    def newest(self, count: int) -> Frames | None:
        """The newest frames, so many; None while there are fewer, and where none is asked for."""
        if not 0 < count <= len(self._rows):
            return None
        first = self._framed - count
        return Frames(
            spectrum=np.stack(self._rows[-count:]),
            bin_hz=self.rate_hz / self._size,
            hop_s=self.hop_s,
            start_s=self.began_s + (first * self._hop + self._size / 2) / self.rate_hz,
        )

    def section(self) -> Section:
        """All that is kept, without the recorder's offset, for an analysis."""
        return Section(
            signal=self._signal - offset_of(self._signal),
            rate_hz=self.rate_hz,
            start_s=self.began_s + (self._made - len(self._signal)) / self.rate_hz,
        )
