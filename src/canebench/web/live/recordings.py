"""Recordings of the microphone while they grow: written as they come, whole again after a crash.

A recording is a WAV file of 32-bit floats whose header claims no length, so that whatever is on the disk can
be measured; it is synced twice a second, so a kill loses no more than that. Guarded by
`tests/web/test_recordings.py`.
"""

from __future__ import annotations

import os
import re
import secrets
import struct
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, BinaryIO, Final

from canebench.base.disk.inside import inside
from canebench.base.disk.owner_only import make_file, make_folder
from canebench.base.errors import InputError, NotFoundError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

SYNC_S: Final = 0.5
_NAME: Final = re.compile(r"[0-9a-f]{24}")
_FLOATS: Final = 3
_WIDTH: Final = 4
#: What a stream's header says of a length that is not known (RIFF files of a growing recording).
_UNKNOWN: Final = 0xFFFFFFFF


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfinished:
    """A recording that was never made into a take."""

    name: str
    at_s: float
    duration_s: float

    @property
    def at(self) -> datetime:
        """When it ended."""
        return datetime.fromtimestamp(self.at_s, tz=UTC)


class GrowingRecording:
    """One recording while it grows."""

    def __init__(self, path: Path, *, rate_hz: int) -> None:
        self.path, self.rate_hz = path, rate_hz
        self.frames = 0
        make_file(path)
        self._file: BinaryIO = path.open("wb")
        self._file.write(_header(rate_hz, _UNKNOWN))
        self._synced_s = 0.0
        self._sync()

    @property
    def name(self) -> str:
        """What the page calls it."""
        return self.path.stem

    def write(self, floats: bytes) -> None:
        """Append little-endian 32-bit floats."""
        self._file.write(floats)
        self.frames += len(floats) // _WIDTH
        if time.monotonic() - self._synced_s >= SYNC_S:
            self._sync()

    def silence(self, frames: int) -> None:
        """What was lost stands as silence of its length: nothing is joined across it."""
        self.write(bytes(frames * _WIDTH))

    def finish(self, cuts: Sequence[int] = (), *, silence: int = 0) -> None:
        """Write the true length; from now on an ordinary file.

        Before each of the frames `cuts` stands a silence of so many frames: what lies on either side of a
        break that was found late is not joined either.
        """
        if cuts:
            self._part(sorted(cuts), silence)
        self._file.seek(0)
        self._file.write(_header(self.rate_hz, self.frames * _WIDTH))
        self._sync()
        self._file.close()

    def _part(self, cuts: list[int], silence: int) -> None:
        """Made beside the file and put in its place at once: a kill leaves one of the two."""
        self._sync()
        beside = self.path.with_suffix(".parted")
        header = _header(self.rate_hz, _UNKNOWN)
        beside.unlink(missing_ok=True)
        make_file(beside)
        with self.path.open("rb") as whole, beside.open("w+b") as parted:
            parted.write(header)
            whole.seek(len(header))
            at = 0
            for cut in (*cuts, self.frames):
                parted.write(whole.read((min(cut, self.frames) - at) * _WIDTH))
                at = min(cut, self.frames)
                if cut < self.frames:
                    parted.write(bytes(silence * _WIDTH))
            parted.flush()
            os.fsync(parted.fileno())
        self._file.close()
        beside.replace(self.path)
        self._file = self.path.open("r+b")
        self.frames = (self.path.stat().st_size - len(header)) // _WIDTH

    def close(self) -> None:
        """Leave it as it is: still a recording that can be measured."""
        if not self._file.closed:
            self._sync()
            self._file.close()

    def discard(self) -> None:
        """It was only a check."""
        self._file.close()
        self.path.unlink(missing_ok=True)

    def _sync(self) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())
        self._synced_s = time.monotonic()


class Recordings:
    """The folder of recordings that are not takes yet."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def begin(self, *, rate_hz: int) -> GrowingRecording:
        """A new one."""
        if not 8_000 <= rate_hz <= 192_000:
            raise InputError(
                field="sample rate", given=f"{rate_hz} Hz", allowed="from 8,000 to 192,000 Hz is taken"
            )
        make_folder(self.folder)
        return GrowingRecording(self.folder / f"{secrets.token_hex(12)}.wav", rate_hz=rate_hz)

    def finished(self, name: str) -> Path:
        """The file of that name."""
        path = inside(self.folder, f"{name}.wav") if _NAME.fullmatch(name) else None
        if path is None or not path.is_file():
            raise NotFoundError("That recording is not on this bench any more.")
        return path

    def kept(self, path: Path) -> None:
        """It is a take now, kept with the others."""
        path.unlink(missing_ok=True)

    def unfinished(self) -> list[Unfinished]:
        """Recordings that wait to be measured or thrown away, newest first."""
        if not self.folder.is_dir():
            return []
        found = []
        for path in self.folder.glob("*.wav"):
            told = path.stat()
            rate = _rate_of(path)
            if _NAME.fullmatch(path.stem) and rate:
                seconds = max(0, told.st_size - len(_header(rate, 0))) / _WIDTH / rate
                found.append(Unfinished(name=path.stem, at_s=told.st_mtime, duration_s=seconds))
        return sorted(found, key=lambda one: -one.at_s)


def _header(rate_hz: int, data_bytes: int) -> bytes:
    """RIFF WAVE, one channel of 32-bit floats."""
    whole = _UNKNOWN if data_bytes == _UNKNOWN else data_bytes + 36
    form = struct.pack("<HHIIHH", _FLOATS, 1, rate_hz, rate_hz * _WIDTH, _WIDTH, 8 * _WIDTH)
    return (
        struct.pack("<4sI4s4sI", b"RIFF", whole, b"WAVE", b"fmt ", 16)
        + form
        + struct.pack("<4sI", b"data", data_bytes)
    )


def _rate_of(path: Path) -> int:
    with path.open("rb") as file:
        start = file.read(28)
    return int(struct.unpack_from("<I", start, 24)[0]) if len(start) == 28 else 0
