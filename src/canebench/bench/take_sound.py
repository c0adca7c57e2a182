"""The sound of a take to look at: waveform with the parts of its notes, spectrogram.

Guarded by `tests/web/test_takes.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.picture.wave_drawing import wave_svg
from canebench.sound.decode import read_recording
from canebench.sound.measure import measure
from canebench.sound.pictures import spectrogram_png, waveform

if TYPE_CHECKING:
    from pathlib import Path

_COLUMNS = 900


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeSound:
    """A drawing of the waveform, the parts by note (name, start, end, s), and the length, s."""

    drawing: str
    parts: list[tuple[str, float, float]]
    duration_s: float


def take_sound(path: Path) -> TakeSound:
    """Read the recording, find its notes again, draw it."""
    recording = read_recording(path)
    measured = measure(recording)
    parts = sorted(
        ((note.note, start, end) for note in measured.notes for start, end in note.spans_s),
        key=lambda part: part[1],
    )
    drawing = wave_svg(
        [(float(low), float(high)) for low, high in waveform(recording, _COLUMNS)],
        duration_s=recording.duration_s,
        parts=parts,
        title=f"Waveform of {recording.duration_s:.1f} s; steady parts of "
        + (", ".join(name for name, _, _ in parts) or "no note"),
    )
    return TakeSound(drawing=drawing, parts=parts, duration_s=recording.duration_s)


def take_spectrogram(path: Path) -> bytes:
    """A PNG."""
    return spectrogram_png(read_recording(path))
