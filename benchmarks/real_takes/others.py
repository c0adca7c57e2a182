"""Other estimators told the spans: what a user would pick, and a drone-blind heterodyne."""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from baselines import praat, pyin
from canebench.base.units import hz_to_cents
from real_takes.score import true_mean

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import FloatArray, SampleArray
    from canebench.sound.analysis.readings import NoteReading
    from canebench.sound.files.recording import Recording
    from real_takes.takes import RealTake

_SWIFT: Final = "swift_f0"
_TOLD_CENTS: Final = 8.0
_PARTIALS: Final = 22
_WINDOW_S, _HOP_S = 0.06, 0.01
_TURNS: Final = 4


def missing_others() -> list[str]:
    """What cannot be asked because it is not installed, in words."""
    found = find_spec(_SWIFT) is not None
    return [] if found else ["SwiftF0 is not beside: the package swift-f0 is not installed in .venv"]


def others_on(recording: Recording) -> Callable[[RealTake, str, NoteReading], dict[str, float]]:
    """Asks each of them for one note of the recording: errors over the longest span that the reading used."""

    def ask(take: RealTake, note: str, reading: NoteReading) -> dict[str, float]:
        start_s, end_s = max(reading.spans_s, key=lambda span: span[1] - span[0])
        true = true_mean(take, note, ((start_s, end_s),))
        rate_hz = recording.rate_hz
        cut = np.array(recording.samples[round(start_s * rate_hz) : round(end_s * rate_hz)])
        if true is None or len(cut) < 0.2 * rate_hz:
            return {}
        # Told the name: within 8 cents of it, drawn by the note's own place so that it is the same each time.
        told_hz = true.hz * 2 ** (_TOLD_CENTS * np.sin(1e3 * start_s) / 1200)
        found = {
            "Praat ac, told the range": praat(cut, rate_hz, told_hz),
            "librosa pyin, told the range": pyin(cut, rate_hz, told_hz),
            "heterodyne, told name within 8 c": blind_heterodyne(cut.astype(float), rate_hz, told_hz),
        }
        if find_spec(_SWIFT) is not None:
            found["SwiftF0, told the range"] = swift(cut, rate_hz)
        return {
            name: abs(hz_to_cents(hz, true.hz)) if np.isfinite(hz) and hz > 0 else np.inf
            for name, hz in found.items()
        }

    return ask


def swift(samples: SampleArray, rate_hz: float) -> float:
    """SwiftF0, median over the frames it calls voiced."""
    module: Any = __import__(_SWIFT)
    found = module.SwiftF0(fmin=350.0, fmax=1100.0).detect_from_array(samples, int(rate_hz))
    voiced = np.asarray(found.pitch_hz)[np.asarray(found.voicing)]
    return float(np.median(voiced)) if len(voiced) else float("nan")


def blind_heterodyne(samples: FloatArray, rate_hz: float, told_hz: float) -> float:
    """Each partial's phase gained over the span, by itself; their mean with Cauchy weights.

    It knows nothing of drones: a partial that beats with one scatters, and weighs the less for it.
    """
    hz = told_hz
    for _ in range(_TURNS):
        k = np.arange(1, min(_PARTIALS, int(0.45 * rate_hz / hz)) + 1)
        paths = np.array([_unwound(samples, rate_hz, n * hz) / n for n in k])
        steps = np.diff(paths, axis=1) / _HOP_S
        own = np.median(steps, axis=1)
        scatter = np.median(np.abs(steps - own[:, None]), axis=1) / np.sqrt(steps.shape[1]) + 1e-9
        gained = (paths[:, -1] - paths[:, 0]) / (_HOP_S * steps.shape[1])
        mean = float(np.median(np.repeat(gained, 1)))
        for _ in range(20):
            weight = scatter**-2 / (1 + ((gained - mean) / (3 * scatter)) ** 2)
            mean = float(np.sum(weight * gained) / np.sum(weight))
        limit = told_hz * (2 ** (2 * _TOLD_CENTS / 1200) - 1)
        hz = float(np.clip(hz + mean, told_hz - limit, told_hz + limit))
    return hz


def _unwound(samples: FloatArray, rate_hz: float, freq_hz: float) -> FloatArray:
    """Phase in cycles of one partial about its expectation, every 10 ms, by a Hann window of 60 ms."""
    size, hop = round(_WINDOW_S * rate_hz), round(_HOP_S * rate_hz)
    turned = samples * np.exp(-2j * np.pi * freq_hz * np.arange(len(samples)) / rate_hz)
    frames = np.lib.stride_tricks.sliding_window_view(turned, size)[::hop]
    return np.asarray(np.unwrap(np.angle(frames @ np.hanning(size))) / (2 * np.pi))
