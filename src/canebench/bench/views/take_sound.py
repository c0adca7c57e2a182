"""The sound of a take to look at: waveform with the parts of its notes, spectrogram.

A recording lies under the digest of what is in it, so what was found in it once is kept at hand by its path.
Guarded by `tests/web/test_takes.py` and `tests/web/test_takes_page.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from canebench.picture.wave_drawing import NARROW, WIDTH, wave_svg
from canebench.sound.analysis.measure import measure
from canebench.sound.files.decode import read_recording
from canebench.sound.pictures import TOP_HZ, spectrogram_png, waveform

if TYPE_CHECKING:
    from pathlib import Path

_COLUMNS = 900
_KEPT = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeSound:
    """Drawings for a wide place and a narrow one, the parts by note (name, start, end, s), the length, s."""

    wide: str
    narrow: str
    parts: tuple[tuple[str, float, float], ...]
    duration_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    extremes: tuple[tuple[float, float], ...]
    parts: tuple[tuple[str, float, float], ...]
    duration_s: float


def take_sound(path: Path, *, picture: str) -> TakeSound:
    """Find the notes of a recording again and draw it; `picture` is where its spectrogram is had."""
    heard = _heard(path)
    title = (
        f"Waveform of {heard.duration_s:.1f} s, below it the spectrogram from 0 to {TOP_HZ / 1_000:g} kHz, "
        "the loudest darkest; steady parts of " + (", ".join(name for name, _, _ in heard.parts) or "no note")
    )
    wide, narrow = (
        wave_svg(
            heard.extremes,
            duration_s=heard.duration_s,
            parts=heard.parts,
            title=title,
            spectrogram=(picture, TOP_HZ),
            width=width,
            id_prefix=prefix,
        )
        for width, prefix in ((WIDTH, "wave"), (NARROW, "wave-narrow"))
    )
    return TakeSound(wide=wide, narrow=narrow, parts=heard.parts, duration_s=heard.duration_s)


@lru_cache(maxsize=_KEPT)
def _heard(path: Path) -> _Heard:
    recording = read_recording(path)
    parts = ((note.note, start, end) for note in measure(recording).notes for start, end in note.spans_s)
    return _Heard(
        extremes=tuple((float(low), float(high)) for low, high in waveform(recording, _COLUMNS)),
        parts=tuple(sorted(parts, key=lambda part: part[1])),
        duration_s=recording.duration_s,
    )


@lru_cache(maxsize=_KEPT)
def take_spectrogram(path: Path) -> bytes:
    """A PNG."""
    return spectrogram_png(read_recording(path))
