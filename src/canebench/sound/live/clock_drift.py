"""A clock held against a tone of known pitch: by how much this sound card reads it high or low.

The tone is turned down to rest at its known pitch and averaged over Hann windows of 0.1 s; the slope of what
phase is left is the difference. Guarded by `tests/analytic/test_clock_drift.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.uncertain import Uncertain
from canebench.base.units import hz_to_cents

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray

_WINDOW_S: Final = 0.1
#: A window counts where so much of its energy is the tone's.
_LEAST_SHARE: Final = 0.3
#: So many windows in a row at least, half a window from one to the next: a second.
LEAST_WINDOWS: Final = 20
_MOST_WINDOWS: Final = 1_200
_PIECES: Final = 10


class ToneClock:
    """One tone in one stream, fed block by block."""

    def __init__(self, *, rate_hz: float, tone_hz: float) -> None:
        self.tone_hz = tone_hz
        self._rate_hz = rate_hz
        self._hop = round(_WINDOW_S * rate_hz / 2)
        self._window = np.hanning(2 * self._hop + 1)[:-1]
        self._rest = np.empty(0)
        self._at = 0
        self._run: list[complex] = []

    def add(self, samples: FloatArray, *, first_frame: int) -> None:
        """The next samples; where they do not join on, the count begins anew."""
        if first_frame != self._at + len(self._rest):
            self._rest, self._at, self._run = np.empty(0), first_frame, []
        self._rest = np.concatenate([self._rest, samples])
        while len(self._rest) >= len(self._window):
            self._take_in(self._rest[: len(self._window)])
            self._rest = self._rest[self._hop :]
            self._at += self._hop

    def _take_in(self, part: FloatArray) -> None:
        # Whole turns are taken off before the sine: at a million frames their rounding would be heard.
        turns = np.modf(self.tone_hz / self._rate_hz * (self._at + np.arange(len(part))))[0]
        phasor = complex(np.sum(self._window * part * np.exp(-2j * np.pi * turns)))
        weight, energy = float(np.sum(self._window)), float(np.sum(self._window * part**2))
        tone = 2 * abs(phasor) ** 2 / weight
        if energy <= 0 or tone < _LEAST_SHARE * energy:
            self._run = []
            return
        self._run = [*self._run[-_MOST_WINDOWS + 1 :], phasor]

    def read(self) -> Uncertain | None:
        """Cents by which the tone reads high; None while it has not been heard for a second on end.

        The uncertainty is what the scatter about the line says, or what that of ten pieces' means does,
        whichever is more: a tone that wanders is not taken for a clock.
        """
        count = len(self._run)
        if count < LEAST_WINDOWS:
            return None
        phase = np.unwrap(np.angle(np.array(self._run))) / (2 * math.pi)
        time_s = np.arange(count) * self._hop / self._rate_hz
        slope, scatter = _line(time_s, phase)
        pieces = np.array_split(np.arange(count), _PIECES)
        middles = np.array([np.mean(time_s[piece]) for piece in pieces])
        sd_hz = max(scatter, _line(middles, np.array([np.mean(phase[piece]) for piece in pieces]))[1])
        return Uncertain(
            value=hz_to_cents(self.tone_hz + slope, self.tone_hz),
            sd=hz_to_cents(self.tone_hz + sd_hz, self.tone_hz),
        )


def _line(time_s: FloatArray, turns: FloatArray) -> tuple[float, float]:
    """Slope of the line through the turns, and its standard deviation by their scatter, Hz."""
    centred = time_s - np.mean(time_s)
    spread = float(np.sum(centred**2))
    slope = float(np.sum(centred * turns)) / spread
    left = turns - np.mean(turns) - slope * centred
    return slope, math.sqrt(float(np.sum(left**2)) / max(1, len(turns) - 2) / spread)
