"""What a user would otherwise pick, told the spans and (the FFT) the note: pitches in Hz, NaN for none."""

from __future__ import annotations

import os
import tempfile
from typing import TYPE_CHECKING

# Compiled code cached by one process and read by another has crashed here: each keeps its own.
_CACHE = tempfile.TemporaryDirectory(prefix="numba-")
os.environ["NUMBA_CACHE_DIR"] = _CACHE.name

import librosa  # noqa: E402
import numpy as np  # noqa: E402
import parselmouth  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import SampleArray

RANGE_HZ = (350.0, 1100.0)
_WINDOW_CENTS = 60.0
_YIN_FRAME = 4096


def fft_peak(samples: SampleArray, rate_hz: float, nominal_hz: float) -> float:
    """Largest peak of one Hann spectrum within 60 cents of the nominal note, by a parabola in decibels."""
    size = 1 << int(np.ceil(np.log2(8 * len(samples))))
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    bin_hz = rate_hz / size
    ratio = 2 ** (_WINDOW_CENTS / 1200)
    low, high = int(nominal_hz / ratio / bin_hz), int(nominal_hz * ratio / bin_hz) + 1
    top = low + int(np.argmax(power[low : high + 1]))
    left, mid, right = 20 * np.log10(power[top - 1 : top + 2] + 1e-20)
    return float((top + 0.5 * (left - right) / (left - 2 * mid + right)) * bin_hz)


def yin(samples: SampleArray, rate_hz: float, _nominal_hz: float) -> float:
    """librosa.yin, told the chanter's range; median over the frames."""
    low, high = RANGE_HZ
    found = librosa.yin(samples, fmin=low, fmax=high, sr=rate_hz, frame_length=_YIN_FRAME, center=False)
    return float(np.median(found)) if len(found) else float("nan")


def pyin(samples: SampleArray, rate_hz: float, _nominal_hz: float) -> float:
    """librosa.pyin, told the chanter's range; median over the voiced frames."""
    low, high = RANGE_HZ
    found, _, _ = librosa.pyin(
        samples, fmin=low, fmax=high, sr=rate_hz, frame_length=_YIN_FRAME, center=False
    )
    found = found[np.isfinite(found)]
    return float(np.median(found)) if len(found) else float("nan")


def praat(samples: SampleArray, rate_hz: float, _nominal_hz: float) -> float:
    """Praat's autocorrelation, told the chanter's range; median over the voiced frames."""
    low, high = RANGE_HZ
    sound = parselmouth.Sound(samples.astype(float), rate_hz)
    pitch = sound.to_pitch_ac(time_step=0.01, pitch_floor=low, pitch_ceiling=high)
    found = pitch.selected_array["frequency"]
    found = found[found > 0]
    return float(np.median(found)) if len(found) else float("nan")


BASELINES: dict[str, Callable[[SampleArray, float, float], float]] = {
    "FFT peak, told the note": fft_peak,
    "librosa yin, told the range": yin,
    "librosa pyin, told the range": pyin,
    "Praat ac, told the range": praat,
}
