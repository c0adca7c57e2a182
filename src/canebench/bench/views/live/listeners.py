"""Listeners by name, in whatever process calls this: a process of estimates keeps those of its streams.

Guarded by `tests/web/test_live.py`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from canebench.bench.views.live.check_microphone import MicrophoneCheck
from canebench.bench.views.live.listen import live_beam, now_object
from canebench.sound.live.estimator import LiveListener

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.scales import Scale
    from canebench.sound.analysis.measure import ReferenceChoice
    from canebench.sound.analysis.section import Closely
    from canebench.sound.dsp.decimation import Section


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamWanted:
    """What a stream is to be heard as; `check` where only the microphone is looked at."""

    rate_hz: int
    scale: Scale
    reference: ReferenceChoice
    check: bool = False
    tone_hz: float | None = None


_LISTENERS: Final[dict[str, LiveListener]] = {}
_CHECKS: Final[dict[str, MicrophoneCheck]] = {}


def begin(key: str, wanted: StreamWanted) -> None:
    """A listener for a new stream."""
    _LISTENERS[key] = LiveListener(rate_hz=wanted.rate_hz, scale=wanted.scale, reference=wanted.reference)
    if wanted.check:
        _CHECKS[key] = MicrophoneCheck(rate_hz=wanted.rate_hz, tone_hz=wanted.tone_hz)


def estimate(
    key: str, parts: list[tuple[int, bytes]], *, left_out: bool, gaps: int, lost_s: float, room: bool
) -> tuple[dict[str, Any], list[int], Section | None]:
    """What is new in words, the breaks that only the phase told, and a section to hear if there is room."""
    listener, check = _LISTENERS[key], _CHECKS.get(key)
    if left_out:
        # Left out by ourselves, of estimating only: no gap, but nothing to join either.
        listener.leave_out()
    for first, samples in parts:
        numbers = _numbers(samples)
        listener.add(numbers, first_frame=first)
        if check is not None:
            check.add(numbers, first_frame=first)
    now = listener.estimate()
    now = replace(now, breaks=gaps + len(listener.unseen), lost_s=lost_s)
    told = now_object(now)
    if check is not None:
        told["check"] = check.said(now)
    section = listener.begin_analysis() if room and listener.settles else None
    return told, list(listener.unseen), section


def take_in(key: str, closely: Closely) -> dict[str, Any] | None:
    """What an analysis found; the beam so far."""
    measurement = _LISTENERS[key].end_analysis(closely)
    return None if measurement is None else asdict(live_beam(measurement))


def forget(key: str) -> None:
    """The stream is over."""
    _LISTENERS.pop(key, None)
    _CHECKS.pop(key, None)


def plain(samples: bytes) -> bytes:
    """The same floats, with numbers where there were none: one alone would end every measurement."""
    return _numbers(samples).astype("<f4").tobytes()


def _numbers(samples: bytes) -> FloatArray:
    floats = np.frombuffer(samples, "<f4").astype(np.float64)
    return np.asarray(np.nan_to_num(floats, nan=0.0, posinf=1.0, neginf=-1.0))
