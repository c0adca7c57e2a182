"""Why a take is refused: each reason a finding in plain words.

Guarded by `tests/analytic/test_refusals.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.finding import Finding
from canebench.sound.dsp.level import MOST_CLIPPED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.analysis.section import Heard
    from canebench.sound.dsp.level import Level
    from canebench.sound.files.recording import Recording

LEAST_S = 1.0
_SILENT_PEAK = 1e-3
_WHITE, _PURE = 0.3, 0.9
#: Hum is there when this share of its multiples are lines.
_HUM_SHARE = 0.6
#: Several voices may sound together so many times as long as notes are held alone. On recorded reeds, with
#: somebody talking all the time or in a hall, 0.84 at most; in chords that passed for a chanter 1.8 at least.
_MOST_TOGETHER = 1.25
#: Of notes that are held so briefly in all, s, it takes less to doubt them.
_BRIEF_S, _MOST_TOGETHER_BRIEF = 1.0, 0.6


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
    if level.clipped > MOST_CLIPPED:
        return _refuse(
            "clipped",
            f"The recording is clipped: {100 * level.clipped:.0f} % of it lies flat against its ceiling, "
            "which makes tones that were not played. Turn the input down or move the microphone away.",
        )
    return None


def several_voices(sections: Sequence[Heard]) -> bool:
    """Whether most notes had other voices beside them, or voices sounded together longer than notes alone."""
    held_s = sum(hold.duration_s for part in sections for hold in part.holds)
    together_s = sum(part.crowded_s for part in sections)
    most = _MOST_TOGETHER_BRIEF if held_s < _BRIEF_S else _MOST_TOGETHER
    if held_s > 0 and together_s > most * held_s:
        return True
    return sum(part.crowded for part in sections) > sum(len(part.holds) for part in sections) / 2


def refusal_after(level: Level, sections: Sequence[Heard]) -> Finding:
    """Why no note was found, as far as it can be told."""
    hum = max((heard.hum for heard in sections), key=lambda hum: hum.share)
    if hum.share > _HUM_SHARE:
        return _refuse(
            "mains-hum",
            f"Only mains hum was heard ({hum.mains_hz:g} Hz and its multiples). "
            "Move the recorder away from chargers and cables.",
        )
    if several_voices(sections):
        return _refuse(
            "several-voices",
            "Several voices sound at once, as of chords or a band; a chanter sounds one note at a time. "
            "Record one chanter, alone or with its drones.",
        )
    if any(heard.hidden for heard in sections):
        return _refuse(
            "unison-with-drones",
            "The chanter lies so nearly on the drones, all the time, that they cannot be told apart. "
            "Play another note in the same take, or stop the drones.",
        )
    if any(heard.drones for heard in sections):
        return _refuse(
            "drones-only",
            "Drones were heard but no chanter note. Play a slow scale over them and measure again.",
        )
    return _no_chanter(level)


def _no_chanter(level: Level) -> Finding:
    """What the take is, where neither drones nor several voices are in it."""
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


def _refuse(code: str, text: str) -> Finding:
    return Finding(code=code, text=text, refuses=True)
