"""From a file, or bytes, to a `Recording`: decoding happens in a confined process, checks happen here.

The process (`canebench.sound.files.decode_child`) reads the file on its stdin and writes to an unlinked
spool file, over which the recording's samples lie. The facts about decoders behind the rules: FFmpeg accepts
sample rates of 1 Hz and 2 GHz, passes NaN and 1e38 on, opens what a playlist names, and calls half a file a
whole one. Guarded by `tests/faults/test_decode_edges.py`.
"""

from __future__ import annotations

import json
import math
import mmap
import os
import signal
import stat
import subprocess
import sys
import tempfile
from typing import TYPE_CHECKING, Any, BinaryIO, Final

import numpy as np

from canebench.base.errors import DecodeError, InputError, NotFoundError
from canebench.base.finding import Finding
from canebench.base.sentences import cannot
from canebench.sound.files.recording import RATE_RANGE_HZ, Recording
from canebench.sound.files.refusal_words import NEAREST, SOUND_NEEDED

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

MAX_BYTES: Final = 4 << 30
MAX_DURATION_S: Final = 7_200.0
MAX_CHANNELS: Final = 8
CHILD_MEMORY_BYTES: Final = 512 << 20
#: Float files may pass full scale; beyond this they hold no sound (24 dB over).
MAX_SAMPLE: Final = 16.0
#: Decoding that takes longer than this is stuck: a fixed part, and a part by size (Opus at 32 kbit/s takes
#: about 1 s a megabyte on a slow machine).
_TIME_S, _TIME_S_PER_MB, _MAX_TIME_S = 10.0, 4.0, 900.0
#: Lengths may differ by an encoder's priming and padding.
_LENGTH_TOLERANCE_S, _LENGTH_TOLERANCE_RATIO = 0.1, 0.002

#: -P: a file of that name in the working directory is not to be run in place of ours.
CHILD: Final = (sys.executable, "-P", "-m", "canebench.sound.files.decode_child")
_NEEDED = "a sound file is needed"


def read_recording(path: Path) -> Recording:
    """Read the sound file at `path`.

    Parameters
    ----------
    path : Path
        A WAV, AIFF, CAF, FLAC, MP3, M4A (AAC or ALAC), OGG, WebM, 3GP or AMR file, or a video of these
        families, up to 4 GiB, 2 hours and 8 channels, with a sample rate from 8 000 to 192 000 Hz.

    Returns
    -------
    recording : Recording
        Mono: the plain average of the channels, at the file's own rate. `findings` may hold
        `shorter-than-declared` and `damaged`.

    Raises
    ------
    NotFoundError
        There is no such file.
    InputError
        It is no regular file, or may not be read.
    DecodeError
        It holds no sound that can be used; the sentence says why.

    Guarded by `tests/analytic/test_decode_formats.py` and `tests/faults/test_ingest_hostile.py`.
    """
    try:
        # Asked before opening: opening a pipe with nobody at its other end would wait for ever.
        if not stat.S_ISREG(path.stat().st_mode):
            kind = "a folder" if path.is_dir() else "no regular file"
            raise InputError(field=str(path), given=kind, allowed=_NEEDED)
        handle = path.open("rb")
    except FileNotFoundError as error:
        raise NotFoundError(f"{path}: there is no such file; check the name and the folder.") from error
    except OSError as error:
        given = f"a file {cannot('read', error)}"
        raise InputError(field=str(path), given=given, allowed="read access is needed") from error
    with handle:
        return decode_file(handle, origin=path.name)


def read_bytes(data: bytes, *, origin: str) -> Recording:
    """Read a sound file from memory: as `read_recording`; `origin` names it for the reader.

    Raises `DecodeError`; `InputError` where the temporary folder has no room. Guarded by
    `tests/faults/test_ingest_fuzz.py`.
    """
    with tempfile.TemporaryFile(buffering=0) as handle:
        try:
            written = handle.write(data)
        except OSError as error:
            raise _no_space(origin, str(error.strerror)) from error
        if written != len(data):
            raise _no_space(origin, "it is full")
        handle.seek(0)
        return decode_file(handle, origin=origin)


def decode_file(
    handle: BinaryIO, *, origin: str, command: Sequence[str] = CHILD, timeout_s: float | None = None
) -> Recording:
    """Decode an open regular file with the decoder `command`.

    `timeout_s` is by default 10 s plus 4 s a megabyte, at most 900 s. Raises `DecodeError`, also when the
    decoder crashes, hangs or asks for too much memory. Guarded by `tests/faults/test_ingest_child.py`.
    """
    size = os.fstat(handle.fileno()).st_size
    if size == 0:
        raise _refusal(origin, "an empty file", SOUND_NEEDED)
    if size > MAX_BYTES:
        raise _refusal(origin, f"a file of {size / 2**30:.1f} GiB", f"at most {MAX_BYTES >> 30} GiB are read")
    time_s = min(_TIME_S + _TIME_S_PER_MB * size / 1e6, _MAX_TIME_S) if timeout_s is None else timeout_s
    with tempfile.TemporaryFile() as spool:
        status = _run(command, handle, spool, origin=origin, time_s=time_s)
        length = os.fstat(spool.fileno()).st_size
        mapped = mmap.mmap(spool.fileno(), length, access=mmap.ACCESS_READ) if length else None
    return recording_from(status, mapped, origin=origin)


def child_limits(cpu_s: float) -> str:
    """What the decoder may do, as its first argument."""
    limits = {
        "rate_hz": RATE_RANGE_HZ,
        "channels": MAX_CHANNELS,
        "duration_s": MAX_DURATION_S,
        "memory_bytes": CHILD_MEMORY_BYTES,
        "cpu_s": math.ceil(cpu_s),
    }
    return json.dumps(limits)


def _too_slow(origin: str, time_s: float) -> DecodeError:
    return _refusal(origin, f"data on which the decoder ran for more than {time_s:g} s", "it is stopped then")


def _run(
    command: Sequence[str], handle: BinaryIO, spool: BinaryIO, *, origin: str, time_s: float
) -> dict[str, Any]:
    arguments = [*command, child_limits(time_s)]
    try:
        done = subprocess.run(
            arguments, stdin=handle, stdout=spool, stderr=subprocess.PIPE, timeout=time_s, check=False
        )
    except subprocess.TimeoutExpired as error:  # the child is dead by now
        raise _too_slow(origin, time_s) from error
    if done.returncode == -signal.SIGXCPU:
        raise _too_slow(origin, time_s)
    if done.returncode:
        cause = f"signal {-done.returncode}" if done.returncode < 0 else f"status {done.returncode}"
        if b"MemoryError" in done.stderr:
            cause = f"more than {CHILD_MEMORY_BYTES >> 20} MiB of memory asked for"
        raise _refusal(origin, f"data on which the decoder failed ({cause})", _NEEDED)
    try:
        status = json.loads(done.stderr.splitlines()[-1])
    except (ValueError, IndexError) as error:
        raise _refusal(origin, "data on which the decoder fell silent", _NEEDED) from error
    return dict(status)


def recording_from(status: dict[str, Any], samples: mmap.mmap | bytes | None, *, origin: str) -> Recording:
    """The recording from the decoder's facts and its samples (float32, little-endian), both checked.

    Raises `DecodeError`; `InputError` where the temporary folder has no room. Guarded by
    `tests/faults/test_ingest_hostile.py`.
    """
    if "no_space" in status:
        raise _no_space(origin, status["no_space"])
    if "refused" in status:
        parts = status["refused"]
        raise _refusal(origin, parts["given"], parts["allowed"], parts["nearest"])
    if samples is None or len(samples) != 4 * status["samples"]:
        raise _refusal(origin, "data on which the decoder lost samples", _NEEDED)
    recording = Recording(
        samples=np.frombuffer(samples, dtype="<f4"),
        rate_hz=float(status["rate_hz"]),
        origin=origin,
        findings=_findings(status),
        spool=samples if isinstance(samples, mmap.mmap) else None,
    )
    _check_values(recording)
    return recording


def _check_values(recording: Recording) -> None:
    start = 0
    for block in recording.blocks():
        low, high = float(block.min()), float(block.max())
        if not (low >= -MAX_SAMPLE and high <= MAX_SAMPLE):  # so written that NaN fails
            at_s = (start + int(np.argmax(~(np.abs(block) <= MAX_SAMPLE)))) / recording.rate_hz
            raise _refusal(
                recording.origin,
                f"a sample that is no number or beyond {MAX_SAMPLE:g} times full scale, at {at_s:.3f} s",
                "samples are needed whose full scale is 1",
            )
        start += len(block)


def _findings(status: dict[str, Any]) -> tuple[Finding, ...]:
    found = []
    damaged, declared_s = status["damaged_s"], status["declared_s"]
    if damaged:
        text = f"{len(damaged)} damaged piece(s) of the file were left out, the first at {damaged[0]:.2f} s"
        found.append(Finding(code="damaged", text=text))
    decoded_s = status["samples"] / status["rate_hz"]
    if declared_s is not None:
        tolerance_s = _LENGTH_TOLERANCE_S + _LENGTH_TOLERANCE_RATIO * declared_s
        if decoded_s < declared_s - tolerance_s:
            text = f"the file declares {declared_s:.2f} s of sound and holds {decoded_s:.2f} s"
            found.append(Finding(code="shorter-than-declared", text=text))
    return tuple(found)


def _refusal(origin: str, given: str, allowed: str, nearest: str = NEAREST) -> DecodeError:
    return DecodeError(field=origin, given=given, allowed=allowed, nearest=nearest)


def _no_space(origin: str, reason: str) -> InputError:
    return InputError(
        field=origin,
        given=f"a sound that does not fit into the temporary folder ({reason})",
        allowed="it takes four bytes a sample",
        nearest="a folder with more room, named in TMPDIR",
    )
