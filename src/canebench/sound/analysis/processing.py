"""What was done to a recording before it came here, where it can be told: findings, not refusals.

Guarded by `tests/analytic/test_processing.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.finding import Finding
from canebench.base.units import hz_to_cents
from canebench.sound.dsp.level import MOST_CLIPPED
from canebench.sound.dsp.stft import amplitudes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.analysis.drones.drone_runs import DroneRun
    from canebench.sound.analysis.notes.note_tracking import Hold
    from canebench.sound.dsp.level import Level
    from canebench.sound.dsp.stft import Frames
    from canebench.sound.files.recording import Recording

_ANY_CLIPPED = 1e-5
_BAND_LIMIT_HZ = 5500.0
#: Drones that waver by at least this, alike to this correlation and size: the recorder's speed.
_WAVER_CENTS, _ALIKE, _SAME_SIZE = 1.0, 0.95, 1.15
_SWING_DB, _SWING_FRAMES = 5.5, 24
#: Combination tones: how far from all partials, how coherent, and how strong beside the note.
_CLEAR_HZ, _COHERENT, _AUDIBLE = 30.0, 0.35, 1e-3
_LEAST_COMBINATIONS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Traces:
    """Signs of processing in one section; None where the section cannot tell.

    Attributes
    ----------
    combinations : tuple of numbers, 0 to 1
        Coherence of combination tones k f +- h b of a note f and the bass b, which no sum of sources
        holds. Read on the tracked phases: over a note a true one stands still, noise does not.
    waver_cents : number or None
        RMS by which all drones waver alike, cents: the recorder's speed, not the blowing.
    swing_db : number or None
        Range of the bass drone's level, dB: automatic gain or noise suppression.
    """

    combinations: tuple[float, ...]
    waver_cents: float | None
    swing_db: float | None


def traces_of(frames: Frames, rest: Frames, runs: Sequence[DroneRun], holds: Sequence[Hold]) -> Traces:
    """Signs in one section: its frames with and without the drones, the drones and the notes."""
    pairs = [(hold, run) for hold in holds for run in runs if _under(hold, run)]
    wavers = [waver for run in runs if (waver := _waver_cents(run)) is not None]
    swings = [_swing_db(frames, run) for run in runs]
    return Traces(
        combinations=tuple(value for pair in pairs for value in _combinations(rest, *pair)),
        waver_cents=max(wavers, default=None),
        swing_db=max(swings, default=None),
    )


def _under(hold: Hold, run: DroneRun) -> bool:
    rows = run.sources[0].rows
    return run.names[0] == "bass" and rows[0] <= hold.source.rows[0] and hold.source.rows[-1] <= rows[-1]


def _combinations(rest: Frames, hold: Hold, run: DroneRun) -> list[float]:
    """Coherence of every combination tone that is clear of all partials; 0 where it is too weak."""
    bass = run.sources[0]
    at = hold.source.rows - bass.rows[0]
    sources_hz = hold.held.hz, float(np.mean(bass.freq_hz))
    found = []
    for k, h in ((k, h) for k in (1, 2) for h in (-4, -3, -2, -1, 1, 2, 3, 4)):
        freq = k * hold.source.freq_hz + h * bass.freq_hz[at]
        mean = float(np.mean(freq))
        if any(abs(mean - own * round(mean / own)) < _CLEAR_HZ for own in sources_hz):
            continue
        cycles = k * hold.source.cycles + h * bass.cycles[at]
        read = amplitudes(rest, freq[:, None], hold.source.rows)[:, 0] * np.exp(-2j * np.pi * cycles)
        strong = np.abs(np.mean(read)) > _AUDIBLE * np.sqrt(np.max(hold.source.power))
        found.append(float(np.abs(np.mean(read)) / np.sqrt(np.mean(np.abs(read) ** 2))) if strong else 0.0)
    return found


def _waver_cents(run: DroneRun) -> float | None:
    if len(run.sources) < 2:
        return None
    tracks = [hz_to_cents(source.freq_hz, float(np.mean(source.freq_hz))) for source in run.sources]
    size = [float(np.std(track)) for track in tracks]
    if min(size) < _WAVER_CENTS or max(size) > _SAME_SIZE * min(size):
        return None
    alike = min(float(np.corrcoef(tracks[0], track)[0, 1]) for track in tracks[1:])
    return float(np.mean(size)) if alike > _ALIKE else None


def _swing_db(frames: Frames, run: DroneRun) -> float:
    source = run.sources[0]
    read = np.abs(source.lobes(frames).read(frames)[:, ::2][:, :8])
    course = np.median(20 * np.log10(read / np.median(read, axis=0) + 1e-6), axis=1)
    width = min(len(course), _SWING_FRAMES)
    smooth = np.convolve(course, np.ones(width) / width, mode="valid")
    return float(np.quantile(smooth, 0.95) - np.quantile(smooth, 0.05))


def remarks(recording: Recording, level: Level, traces: Sequence[Traces]) -> list[Finding]:
    """What may have been done to the recording, in words."""
    found = []
    if _ANY_CLIPPED < level.clipped <= MOST_CLIPPED:
        found.append(
            Finding(
                code="some-clipping",
                text=f"{100 * level.clipped:.2f} % of the recording is clipped. Turn the input down a bit.",
            )
        )
    cutoff = level.cutoff_hz or recording.rate_hz / 2
    if cutoff < _BAND_LIMIT_HZ:
        found.append(
            Finding(
                code="band-limited",
                text=f"The recording holds nothing above {cutoff / 1000:.1f} kHz (a telephone or voice "
                "setting): fewer partials, wider uncertainties. Choose a music setting if there is one.",
            )
        )
    return found + trace_remarks(traces)


def trace_remarks(traces: Sequence[Traces]) -> list[Finding]:
    """What the drones and notes alone tell of it."""
    found = []
    coherence = [value for trace in traces for value in trace.combinations]
    if len(coherence) >= _LEAST_COMBINATIONS and np.median(coherence) > _COHERENT:
        found.append(
            Finding(
                code="non-linear",
                text="The recording holds combination tones of chanter and drones: a compressor, a limiter "
                "or an overdriven microphone was at work. Turn the input down and such settings off.",
            )
        )
    waver = max((trace.waver_cents for trace in traces if trace.waver_cents is not None), default=None)
    if waver is not None:
        found.append(
            Finding(
                code="variable-speed",
                text=f"All drones waver together by {waver:.1f} cents: the recording seems to run at a "
                "varying speed. Its pitches share that error.",
            )
        )
    swing = max((trace.swing_db for trace in traces if trace.swing_db is not None), default=0.0)
    if swing > _SWING_DB:
        found.append(
            Finding(
                code="gain-changes",
                text=f"The drones' level swings by {swing:.0f} dB within the take: automatic gain or noise "
                "suppression was at work. Turn it off for pipes.",
            )
        )
    return found
