"""What was done to a recording before it came here, where it can be told: findings, not refusals.

Guarded by `tests/analytic/test_processing.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.base.finding import Finding
from canebench.base.units import hz_to_cents
from canebench.sound.refusals import MOST_CLIPPED
from canebench.sound.spectra import amplitudes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from canebench.sound.drones import DroneRun
    from canebench.sound.holding import Hold
    from canebench.sound.level import Level
    from canebench.sound.listening import Heard
    from canebench.sound.recording import Recording

_ANY_CLIPPED = 1e-5
_BAND_LIMIT_HZ = 5500.0
#: Drones that waver by at least this, alike to this correlation and size: the recorder's speed.
_WAVER_CENTS, _ALIKE, _SAME_SIZE = 1.0, 0.95, 1.15
_SWING_DB = 6.0
#: Combination tones: how far from all partials, how coherent, and how strong beside the note.
_CLEAR_HZ, _COHERENT, _AUDIBLE = 30.0, 0.6, 1e-3
_LEAST_COMBINATIONS = 4


def remarks(recording: Recording, level: Level, sections: Sequence[Heard]) -> list[Finding]:
    """What may have been done to the recording, where it can be told."""
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
    return [*found, *_nonlinear(sections), *_speed(sections), *_gain(sections)]


def _nonlinear(sections: Sequence[Heard]) -> list[Finding]:
    """Combination tones k f +- h b of a note f and the bass b, which no sum of sources holds.

    They are read on the tracked phases: over a note a true one stands still, noise does not.
    """
    coherence = [
        value for heard in sections for pair in _pairs(heard) for value in _combinations(heard, *pair)
    ]
    if len(coherence) < _LEAST_COMBINATIONS or np.median(coherence) < _COHERENT:
        return []
    return [
        Finding(
            code="non-linear",
            text="The recording holds combination tones of chanter and drones: a compressor, a limiter or an "
            "overdriven microphone was at work. Turn the input down and such settings off.",
        )
    ]


def _pairs(heard: Heard) -> Iterator[tuple[Hold, DroneRun]]:
    for hold in heard.holds:
        for run in heard.runs:
            rows = run.voices[0].rows
            if run.names[0] == "bass" and rows[0] <= hold.voice.rows[0] and hold.voice.rows[-1] <= rows[-1]:
                yield hold, run


def _combinations(heard: Heard, hold: Hold, run: DroneRun) -> list[float]:
    """Coherence of every combination tone that is clear of all partials; 0 where it is too weak."""
    bass = run.voices[0]
    at = hold.voice.rows - bass.rows[0]
    found = []
    for k, h in ((k, h) for k in (1, 2) for h in (-4, -3, -2, -1, 1, 2, 3, 4)):
        freq = k * hold.voice.freq_hz + h * bass.freq_hz[at]
        mean = float(np.mean(freq))
        if any(
            abs(mean - own * round(mean / own)) < _CLEAR_HZ for own in (hold.hz, float(np.mean(bass.freq_hz)))
        ):
            continue
        cycles = k * hold.voice.cycles + h * bass.cycles[at]
        read = amplitudes(heard.rest, freq[:, None], hold.voice.rows)[:, 0] * np.exp(-2j * np.pi * cycles)
        strong = np.abs(np.mean(read)) > _AUDIBLE * np.max(np.abs(hold.voice.amplitude))
        found.append(float(np.abs(np.mean(read)) / np.sqrt(np.mean(np.abs(read) ** 2))) if strong else 0.0)
    return found


def _speed(sections: Sequence[Heard]) -> list[Finding]:
    """Drones that rise and fall as one, by the same cents: the recorder's speed, not the blowing."""
    for heard in sections:
        for run in heard.runs:
            if len(run.voices) < 2:
                continue
            tracks = [hz_to_cents(voice.freq_hz, float(np.mean(voice.freq_hz))) for voice in run.voices]
            like = min(float(np.corrcoef(tracks[0], track)[0, 1]) for track in tracks[1:])
            size = [float(np.std(track)) for track in tracks]
            if min(size) > _WAVER_CENTS and like > _ALIKE and max(size) < _SAME_SIZE * min(size):
                return [
                    Finding(
                        code="variable-speed",
                        text=f"All drones waver together by {np.mean(size):.1f} cents: the recording seems "
                        "to run at a varying speed. Its pitches share that error.",
                    )
                ]
    return []


def _gain(sections: Sequence[Heard]) -> list[Finding]:
    """Drones whose level jumps as the chanter starts and stops: automatic gain or noise suppression."""
    for heard in sections:
        for run in heard.runs:
            voice = run.voices[0]
            own = voice.numbers % 2 == 1
            read = np.abs(voice.lobes(heard.frames).read(heard.frames)[:, own][:, :8])
            course = np.median(20 * np.log10(read / np.median(read, axis=0) + 1e-6), axis=1)
            width = min(len(course), 24)
            smooth = np.convolve(course, np.ones(width) / width, mode="valid")
            swing = float(np.quantile(smooth, 0.95) - np.quantile(smooth, 0.05))
            if swing > _SWING_DB:
                return [
                    Finding(
                        code="gain-changes",
                        text=f"The drones' level swings by {swing:.0f} dB within the take: automatic gain or "
                        "noise suppression was at work. Turn it off for pipes.",
                    )
                ]
    return []
