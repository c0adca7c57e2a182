"""A take fed to the live listener as by a microphone, block by block, estimates and analyses between."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.scales import DEFAULT_SCALE
from canebench.sound.analysis.section import hear_closely
from canebench.sound.live.estimator import LiveListener, Now

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.sound.analysis.readings import Measurement
    from canebench.sound.analysis.section import Closely
    from canebench.sound.files.recording import Recording

ESTIMATE_S = 0.05
#: An analysis goes on elsewhere for so long before what it found is taken in.
ANALYSIS_S = 0.3


@dataclass(slots=True)
class Streamed:
    """Everything that was seen on the way, and what there was at the end."""

    estimates: list[Now] = field(default_factory=list)
    so_far: Measurement | None = None
    breaks: list[int] = field(default_factory=list)


def stream(recording: Recording, *, block: int = 2_048, every_s: float = ESTIMATE_S) -> Streamed:
    """Feed a whole recording."""
    samples = np.asarray(recording.samples, dtype=np.float64)
    return stream_samples(samples, rate_hz=recording.rate_hz, block=block, every_s=every_s)


def stream_samples(
    samples: FloatArray, *, rate_hz: float, block: int = 2_048, every_s: float = ESTIMATE_S
) -> Streamed:
    """Feed samples; estimates and analyses come at multiples of `every_s`, whatever the blocks are."""
    listener = LiveListener(rate_hz=rate_hz, scale=DEFAULT_SCALE)
    seen = Streamed()
    step = round(every_s * rate_hz)
    analysis: tuple[int, Closely] | None = None
    for due in range(step, len(samples) + 1, step):
        for start in range(due - step, due, block):
            part = samples[start : min(start + block, due)]
            listener.add(part, first_frame=start)
        seen.estimates.append(listener.estimate())
        if analysis is not None and due >= analysis[0]:
            seen.so_far = listener.end_analysis(analysis[1])
            analysis = None
        if analysis is None and listener.settles:
            analysis = due + round(ANALYSIS_S * rate_hz), hear_closely(listener.begin_analysis())
    if analysis is not None:
        listener.end_analysis(analysis[1])
    seen.so_far = listener.settle()
    seen.breaks = listener.breaks
    return seen


def breaks_of(samples: FloatArray, *, rate_hz: float) -> list[int]:
    """The breaks heard by estimates alone: analyses, most of a stream's work, neither find any nor hide one.

    Guarded by `tests/analytic/test_dropouts.py`.
    """
    listener = LiveListener(rate_hz=rate_hz, scale=DEFAULT_SCALE)
    step = round(ESTIMATE_S * rate_hz)
    for start in range(0, len(samples) - step + 1, step):
        listener.add(samples[start : start + step], first_frame=start)
        listener.estimate()
    return listener.breaks


def broken(samples: FloatArray, at: int, length: int, *, twice: bool) -> FloatArray:
    """The samples with a run left out at `at`, or played twice."""
    after = samples[at - length :] if twice else samples[at + length :]
    return np.concatenate([samples[:at], after])
