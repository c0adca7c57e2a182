"""Why a take is refused, and what else its reader should know: each a finding in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canebench.base.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.level import Level
    from canebench.sound.listening import Heard
    from canebench.sound.recording import Recording

LEAST_S = 1.0
_SILENT_PEAK = 1e-3
_MOST_CLIPPED, _ANY_CLIPPED = 0.01, 1e-5
_WHITE, _PURE = 0.3, 0.9
_BAND_LIMIT_HZ = 5500.0
_HUM_HZ = (50.0, 60.0)


def refusal_before(recording: Recording, level: Level) -> Finding | None:
    """A reason not to look for notes at all."""
    if recording.duration_s < LEAST_S:
        return _refuse(
            "too-short",
            f"The take is {recording.duration_s:.2f} s long; at least {LEAST_S:g} s is needed. "
            "Hold each note for about two seconds.",
        )
    if level.peak < _SILENT_PEAK:
        return _refuse(
            "silence",
            "The take is silent (it never rises above −60 dB of full scale). "
            "Check that the right microphone is on and move it nearer.",
        )
    if level.clipped > _MOST_CLIPPED:
        return _refuse(
            "clipped",
            f"The recording is clipped: {100 * level.clipped:.0f} % of it lies flat against its ceiling, "
            "which makes tones that were not played. Turn the input down or move the microphone away.",
        )
    return None


def refusal_after(level: Level, sections: Sequence[Heard]) -> Finding:
    """Why no note was found, as far as it can be told."""
    hum = max((_hum(heard) for heard in sections), key=lambda pair: pair[1], default=(0.0, 0.0))
    if hum[1] > 0.5:
        return _refuse(
            "mains-hum",
            f"Only mains hum was heard ({hum[0]:g} Hz and its multiples). "
            "Move the recorder away from chargers and cables.",
        )
    if any(heard.runs for heard in sections):
        return _refuse(
            "drones-only",
            "Drones were heard but no chanter note. Play a slow scale over them and measure again.",
        )
    if level.line_share > _PURE:
        return _refuse(
            "pure-tone", "One pure tone was heard. A reed sounds with many partials; this is not a chanter."
        )
    if level.flatness > _WHITE:
        return _refuse("noise", "Only noise was heard. Move the microphone nearer to the chanter.")
    return _refuse(
        "no-steady-note",
        "No chanter note was held steadily for a third of a second (speech, music or fingering practice "
        "sounds like this). Hold each note for about two seconds.",
    )


def remarks(recording: Recording, level: Level, sections: Sequence[Heard]) -> list[Finding]:
    """What may have been done to the recording, where it can be told."""
    found = []
    if _ANY_CLIPPED < level.clipped <= _MOST_CLIPPED:
        found.append(
            Finding(
                code="some-clipping",
                text=f"{100 * level.clipped:.2f} % of the recording is clipped. Turn the input down a little.",
            )
        )
    cutoff = level.cutoff_hz or recording.rate_hz / 2
    if cutoff < _BAND_LIMIT_HZ:
        found.append(
            Finding(
                code="band-limited",
                text=f"The recording holds nothing above {cutoff / 1000:.1f} kHz (a telephone or voice setting): "
                "fewer partials, so wider uncertainties. Choose a music setting where there is one.",
            )
        )
    found.extend(_speed(sections))
    found.extend(_gain(sections))
    return found


def _refuse(code: str, text: str) -> Finding:
    return Finding(code=code, text=text, refuses=True)


def _hum(heard: Heard) -> tuple[float, float]:
    """Mains frequency that fits best, and the share of its first twelve multiples that stand out."""
    level = np.median(np.abs(heard.frames.spectrum), axis=0)
    best = (0.0, 0.0)
    for mains in _HUM_HZ:
        at = mains * np.arange(2, 13) / heard.frames.bin_hz
        line = np.maximum(level[np.floor(at).astype(int)], level[np.ceil(at).astype(int)])
        between = np.minimum(
            level[np.rint(at + mains / 2 / heard.frames.bin_hz).astype(int)],
            level[np.rint(at - mains / 2 / heard.frames.bin_hz).astype(int)],
        )
        share = float(np.mean(line > 5 * between))
        best = max(best, (mains, share), key=lambda pair: pair[1])
    return best


def _speed(sections: Sequence[Heard]) -> list[Finding]:
    """Drones that rise and fall as one, by the same cents: the recorder's speed, not the blowing."""
    for heard in sections:
        for run in heard.runs:
            if len(run.voices) < 2:
                continue
            tracks = [np.log(voice.freq_hz / np.mean(voice.freq_hz)) * 1731.2 for voice in run.voices]
            like = min(float(np.corrcoef(tracks[0], track)[0, 1]) for track in tracks[1:])
            size = [float(np.std(track)) for track in tracks]
            if min(size) > 1.0 and like > 0.95 and max(size) < 1.15 * min(size):
                return [
                    Finding(
                        code="variable-speed",
                        text=f"All drones waver together by {np.mean(size):.1f} cents: the recording seems to "
                        "have been played or taken at a varying speed. Its pitches share that error.",
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
            if swing > 6.0:
                return [
                    Finding(
                        code="gain-changes",
                        text=f"The drones' level swings by {swing:.0f} dB within the take: automatic gain or noise "
                        "suppression was at work. Turn it off for pipes.",
                    )
                ]
    return []
