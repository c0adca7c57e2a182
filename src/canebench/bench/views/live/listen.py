"""Listen to a microphone: what sounds now in words, and the beam of what was held so far.

Guarded by `tests/web/test_live.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from canebench.base.uncertain import number
from canebench.bench.acts.fitting.report import report_on
from canebench.bench.views.drawing.draw_fitting import draw_take
from canebench.bench.views.verdict import still_missing, verdict_of
from canebench.sound.analysis.section import hear_closely
from canebench.sound.live.estimator import WINDOW_S, LiveListener

if TYPE_CHECKING:
    from canebench.bench.views.drawing.draw_fitting import Drawn
    from canebench.sound.analysis.readings import Measurement
    from canebench.sound.dsp.loudness import Loudness
    from canebench.sound.live.estimator import Now

__all__ = [
    "WINDOW_S",
    "LiveBeam",
    "LiveListener",
    "breaks_said",
    "hear_closely",
    "live_beam",
    "now_object",
    "skipped_said",
]

#: Levels between which a microphone hears well, dB re full scale.
_QUIET_DB, _LOUD_DB = -48.0, -1.0
#: The bar of the level begins here, dB.
_BAR_DB: Final = -60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveBeam:
    """The beam so far: its picture, the three numbers in words, which notes it holds, and which not yet."""

    drawn: Drawn
    height: str
    tilt: str
    left: str
    notes: tuple[str, ...]
    missing: str


def live_beam(measurement: Measurement) -> LiveBeam:
    """Lay the beam of the notes held so far."""
    report = report_on(measurement)
    verdict = verdict_of(report)
    notes = tuple(note.note for note in measurement.notes)
    return LiveBeam(
        drawn=draw_take(report, title="The beam so far", prefix="live", bare=True),
        height=verdict.height,
        tilt=verdict.tilt,
        left=verdict.left,
        notes=notes,
        missing=still_missing(notes),
    )


def now_object(now: Now) -> dict[str, Any]:
    """One estimate as the page shows it: which note sounds, and no figure of it, for those wander."""
    found = now.sounding
    return {
        "at": now.at_s,
        "seconds": round(now.at_s, 1),
        "note": None if found is None else found.note or "no note of the scale",
        "level": _bar(now.loudness.level_db),
        "levelSaid": level_said(now.loudness),
        "timeSaid": f"{number(now.at_s, 0)} s",
        "remarks": [one.text for one in now.remarks],
        "breaks": now.breaks,
        "breaksSaid": breaks_said(now.breaks, now.lost_s),
    }


def level_said(loudness: Loudness) -> str:
    """What is to be done about the level, in a few words."""
    if loudness.peak_db > _LOUD_DB:
        return "too loud: tops are cut off. Move the microphone away, or turn it down."
    if loudness.level_db < _QUIET_DB:
        return "too quiet: nothing but the room is heard. Move the microphone nearer, or turn it up."
    return "good"


def _bar(level_db: float) -> float:
    return round(min(1.0, max(0.0, 1 - level_db / _BAR_DB)), 3)


def breaks_said(breaks: int, lost_s: float) -> str:
    """How often the stream was broken, and what is missing."""
    if not breaks:
        return "no gaps"
    lost = f", {number(1e3 * lost_s, 0)} ms lost" if lost_s else ""
    return f"{breaks} {'gap' if breaks == 1 else 'gaps'}{lost}; nothing is joined across one"


def skipped_said(count: int) -> str:
    """How many blocks were left out of estimating, where any were."""
    if not count:
        return ""
    return f"{count} {'update' if count == 1 else 'updates'} skipped: this machine is busy; all is recorded"
