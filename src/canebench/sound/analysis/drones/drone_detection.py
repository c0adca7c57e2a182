"""Which drones sound, roughly: combs of lines that stand above the floor of long spectra.

The bass is recognised by its odd partials, of which the chanter and the tenors have none (when in
tune), and by its first three, which lie below the chanter's compass.
Guarded by `tests/analytic/test_drone_detection.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray, IntArray
    from canebench.sound.dsp.decimation import Section

#: A quarter and half of low A from 430 to 500 Hz, 60 cents either way.
_BASS_HZ = (103.8, 129.5)
_TENOR_HZ = (207.6, 259.0)
_STEP = 0.0004
_WINDOW_S = 1.2
_CHUNK = 8
#: Decades above the floor at which a line counts fully, so that no single loud one decides.
_FULL = 2.0
_PRESENT, _TOP_SHARE = 1.0, 0.03
#: Decades of power below the loudest line at which a drone's strongest odd partial cannot lie.
_FAINTEST = 3.3
#: Decades of power below the loudest line at which the window's own skirts begin.
_SKIRTS = 8.0
_LINE_DECADES = 1.0
#: Candidates this near to the best one (natural log) are one and the same line.
_SAME = 0.004
#: Mains hum: a comb this near to a multiple of it (7 cents), while the multiples between stand no further
#: below than this many decades of power.
_MAINS_HZ, _MAINS_NEAR, _MAINS_BELOW = (50.0, 60.0), 0.004, 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """Mains hum: its frequency and the share (0 to 1) of its first multiples that are heard as lines."""

    mains_hz: float
    share: float


def bass_near(section: Section) -> float | None:
    """Pitch of the bass drone to about 0.2 %, Hz, or None where none sounds (mains hum is none)."""
    found = _comb(section, _BASS_HZ, np.arange(1, 16, 2), lowest=2)
    return None if found is None or _is_hum(section, found) else found


def tenor_near(section: Section) -> float | None:
    """Pitch of the tenor drones where no bass sounds, to about 0.2 %, Hz, or None (mains hum is none)."""
    found = _comb(section, _TENOR_HZ, np.arange(1, 10), lowest=1)
    return None if found is None or _is_hum(section, found) else found


def hum_in(section: Section) -> Hum:
    """The mains frequency that fits best and the share of its multiples, all or odd, that are lines."""
    over, bin_hz = _lines(section)
    found = []
    for mains_hz in _MAINS_HZ:
        line = _heights(over, mains_hz * np.arange(1, 13) / bin_hz) > _LINE_DECADES
        # Some hum has odd multiples alone; a bass drone on twice the mains has none of them.
        found.append(Hum(mains_hz=mains_hz, share=max(float(np.mean(line)), float(np.mean(line[::2])))))
    return max(found, key=lambda hum: hum.share)


def _comb(section: Section, span_hz: tuple[float, float], numbers: IntArray, *, lowest: int) -> float | None:
    power, bin_hz = _long_spectra(section)
    pitch = np.exp(np.arange(np.log(span_hz[0]), np.log(span_hz[1]), _STEP))
    numbers = numbers[numbers * span_hz[1] < bin_hz * (power.shape[1] - 2)]
    at = pitch[:, None] * numbers / bin_hz
    best: tuple[float, float] | None = None
    # Drones may begin mid-way: the best stretch of a few seconds decides.
    last = max(0, len(power) - _CHUNK)
    for start in [*range(0, last, _CHUNK // 2), last]:
        power_now = np.median(power[start : start + _CHUNK], axis=0)
        line = _over_floor(power_now, bin_hz)
        above = _heights(line, at)
        height = np.minimum(above, _FULL)
        # Where all candidates near a line count fully, the line's top decides.
        score = height.mean(axis=1) + _TOP_SHARE * above.mean(axis=1)
        top = int(np.argmax(score))
        heard = height[top] > 0.5 * _FULL
        # The odd ones by themselves too: the even ones are those of a chanter's note an octave up.
        present = min(np.mean(heard), np.mean(heard[numbers % 2 == 1])) > 0.7
        present = present and np.all(height[top, :lowest] > 0.3 * _FULL)
        # Faint lines between a note's partials (a splice, a rattle) are no drone.
        odd = _heights(np.log10(power_now + 1e-20), at[top, numbers % 2 == 1])
        present = present and np.max(odd) > np.log10(np.max(power_now) + 1e-20) - _FAINTEST
        if present and score[top] > _PRESENT and (best is None or score[top] > best[0] + 0.02):
            alike = (score > score[top] - 0.01) & (np.abs(np.log(pitch / pitch[top])) < _SAME)
            best = float(score[top]), float(np.mean(pitch[alike]))
    return None if best is None else best[1]


def _is_hum(section: Section, pitch_hz: float) -> bool:
    """Whether the comb is every second to fifth multiple of the mains, and those between sound too."""
    over, bin_hz = _lines(section)
    for mains_hz in _MAINS_HZ:
        times = round(pitch_hz / mains_hz)
        if abs(pitch_hz / (times * mains_hz) - 1) > _MAINS_NEAR:
            continue
        numbers = np.arange(3, 18)
        lines = _heights(over, mains_hz * numbers / bin_hz)
        own = numbers % times == 0
        high, low = float(np.median(lines[own])), float(np.median(lines[~own]))
        if low > 0.5 * _FULL and low > high - _MAINS_BELOW:
            return True
    return False


def _lines(section: Section) -> tuple[FloatArray, float]:
    """Decades of power of each bin above the floor, median over the section, and the width of a bin, Hz."""
    power, bin_hz = _long_spectra(section)
    return _over_floor(np.median(power, axis=0), bin_hz), bin_hz


def _heights(line: FloatArray, position: FloatArray) -> FloatArray:
    """The highest of the three bins about each position (bins)."""
    at = np.rint(position).astype(np.intp)
    return np.asarray(np.maximum(np.maximum(line[at - 1], line[at]), line[at + 1]))


def _long_spectra(section: Section) -> tuple[FloatArray, float]:
    """Power spectra of 1.4 s or so, half overlapping, and the width of a bin."""
    size = 1 << int(np.log2(_WINDOW_S * section.rate_hz) + 0.5)
    signal = section.signal
    if len(signal) < size:
        signal = np.pad(signal, (0, size - len(signal)))
    cut = np.lib.stride_tricks.sliding_window_view(signal, size)[:: size // 2]
    spectrum = np.fft.rfft(cut * np.hanning(size + 1)[:-1], axis=1)
    return np.abs(spectrum) ** 2, section.rate_hz / size


def _over_floor(power: FloatArray, bin_hz: float) -> FloatArray:
    """Decades of each bin above the floor, a low quantile over 60 Hz."""
    level = np.log10(power + 10**-_SKIRTS * np.max(power) + 1e-20)
    width = max(8, round(60.0 / bin_hz))
    rows = len(level) // width
    floor = np.quantile(level[: rows * width].reshape(rows, width), 0.3, axis=1)
    return np.asarray(level - np.interp(np.arange(len(level)), (np.arange(rows) + 0.5) * width, floor))
