"""A take fed to the live listener as a microphone feeds it, block by block, looks and hearings between."""

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

LOOK_S = 0.05
#: A hearing goes on elsewhere for so long before what it found is taken in.
HEARING_S = 0.3


@dataclass(slots=True)
class Streamed:
    """Everything that was seen on the way, and what there was at the end."""

    looks: list[Now] = field(default_factory=list)
    so_far: Measurement | None = None
    breaks: list[int] = field(default_factory=list)


def stream(recording: Recording, *, block: int = 2_048, every_s: float = LOOK_S) -> Streamed:
    """Feed a whole recording."""
    samples = np.asarray(recording.samples, dtype=np.float64)
    return stream_samples(samples, rate_hz=recording.rate_hz, block=block, every_s=every_s)


def stream_samples(
    samples: FloatArray, *, rate_hz: float, block: int = 2_048, every_s: float = LOOK_S
) -> Streamed:
    """Feed samples; looks and hearings come at multiples of `every_s`, whatever the blocks are."""
    listener = LiveListener(rate_hz=rate_hz, scale=DEFAULT_SCALE)
    seen = Streamed()
    step = round(every_s * rate_hz)
    hearing: tuple[int, Closely] | None = None
    for due in range(step, len(samples) + 1, step):
        for start in range(due - step, due, block):
            part = samples[start : min(start + block, due)]
            listener.add(part, first_frame=start)
        seen.looks.append(listener.look())
        if hearing is not None and due >= hearing[0]:
            seen.so_far = listener.end_hearing(hearing[1])
            hearing = None
        if hearing is None and listener.settles:
            hearing = due + round(HEARING_S * rate_hz), hear_closely(listener.begin_hearing())
    if hearing is not None:
        listener.end_hearing(hearing[1])
    seen.so_far = listener.settle()
    seen.breaks = listener.breaks
    return seen


def broken(samples: FloatArray, at: int, length: int, *, twice: bool) -> FloatArray:
    """The samples with a run left out at `at`, or played twice."""
    after = samples[at - length :] if twice else samples[at + length :]
    return np.concatenate([samples[:at], after])
