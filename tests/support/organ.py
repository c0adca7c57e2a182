"""Keys of a sound font rendered by the `fluidsynth` command, with neither reverberation nor chorus."""

from __future__ import annotations

import shutil
import subprocess
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canebench.sound.files.recording import Recording

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Where distributions install sound fonts.
_FONT_FOLDERS = (Path("/usr/share/sounds/sf2"), Path("/usr/share/soundfonts"))
_RATE_HZ = 48_000
#: A tick is a millisecond: 1000 to a crotchet of one second.
_TICKS = 1_000
_BEND_RANGE_CENTS = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One key held for `duration_s`, bent by `bend_cents` (±200)."""

    key: int
    bend_cents: float
    duration_s: float


def font_path(name: str) -> Path:
    """The installed font of that name; where it or the player is missing, an error says how to install it."""
    found = [folder / name for folder in _FONT_FOLDERS if (folder / name).is_file()]
    if not found or shutil.which("fluidsynth") is None:
        sentence = "fluidsynth or its sound font is missing: run scripts/system-packages"
        raise FileNotFoundError(sentence)
    return found[0]


def played(strokes: Sequence[Stroke], *, program: int, font: Path, folder: Path) -> Recording:
    """The strokes one after another, rendered in `folder`; both channels' mean."""
    score, sound = folder / "strokes.mid", folder / "strokes.wav"
    score.write_bytes(_midi(strokes, program))
    switches = ["-n", "-i", "-q", "-R", "0", "-C", "0", "-g", "1.0", "-r", str(_RATE_HZ)]
    form = ["-T", "wav", "-O", "s16", "-F", str(sound)]
    subprocess.run(["fluidsynth", *switches, *form, str(font), str(score)], check=True, capture_output=True)
    with wave.open(str(sound), "rb") as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (_RATE_HZ, 2, 2)
        points = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    samples = points.reshape(-1, 2).mean(axis=1) / 32_768
    return Recording(samples=samples.astype(np.float32), rate_hz=float(_RATE_HZ), origin="sound font")


def _midi(strokes: Sequence[Stroke], program: int) -> bytes:
    """A Standard MIDI File of one track (MIDI 1.0, format 0)."""
    events = [(0, b"\xff\x51\x03" + (1_000_000).to_bytes(3, "big")), (0, bytes([0xC0, program]))]
    # Registered parameter 0, the bend's range: two semitones.
    events += [(0, bytes([0xB0, control, value])) for control, value in ((101, 0), (100, 0), (6, 2), (38, 0))]
    for stroke in strokes:
        bend = 8_192 + round(stroke.bend_cents / _BEND_RANGE_CENTS * 8_192)
        events += [
            (0, bytes([0xE0, bend & 127, bend >> 7])),
            (0, bytes([0x90, stroke.key, 100])),
            (round(stroke.duration_s * _TICKS), bytes([0x80, stroke.key, 0])),
        ]
    events.append((300, b"\xff\x2f\x00"))
    track = b"".join(_ticks(wait) + event for wait, event in events)
    head = b"MThd" + b"".join(n.to_bytes(size, "big") for n, size in ((6, 4), (0, 2), (1, 2), (_TICKS, 2)))
    return head + b"MTrk" + len(track).to_bytes(4, "big") + track


def _ticks(count: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the first ones marked."""
    digits = [count & 127]
    while count := count >> 7:
        digits.insert(0, count & 127 | 128)
    return bytes(digits)
