"""A decoder process that takes one file after the other: for tests that try many thousands."""

from __future__ import annotations

import json
import os
import select
import subprocess
from pathlib import Path
from struct import Struct
from typing import TYPE_CHECKING, Any, Self

from canebench.sound.files.decode import CHILD, child_limits, recording_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.sound.files.recording import Recording

_LENGTH = Struct("<I")
#: Processor time one process may use in all; a single file's time is watched by the clock.
_CPU_S = 3_600.0


class DecoderDied(AssertionError):  # noqa: N818  it is a verdict of a test
    """The process crashed, or had to be ended because it hung."""


class Decoder:
    """The real decoder process, with its real limits, in its `serve` mode."""

    def __init__(self, command: Sequence[str] = CHILD, *, hang_s: float = 10.0) -> None:
        self._command, self._hang_s = [*command, child_limits(_CPU_S), "serve"], hang_s
        self.peak_kib = 0
        self._start()

    def _start(self) -> None:
        self._process = subprocess.Popen(
            self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, bufsize=0
        )

    def read(self, data: bytes, *, origin: str) -> Recording:
        """As `canebench.sound.files.decode.read_bytes`; after a crash or hang (`DecoderDied`) it goes on."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(_LENGTH.pack(len(data)))
            rest = memoryview(data)
            while rest:
                rest = rest[self._process.stdin.write(rest) :]
            facts: dict[str, Any] = json.loads(self._part())
            samples = self._part()
        except (BrokenPipeError, EOFError, TimeoutError) as error:
            self.close()
            self._start()
            raise DecoderDied(f"{origin}: {type(error).__name__}") from error
        return recording_from(facts, samples or None, origin=origin)

    def _part(self) -> bytes:
        (size,) = _LENGTH.unpack(self._bytes(_LENGTH.size))
        return self._bytes(size)

    def _bytes(self, size: int) -> bytes:
        assert self._process.stdout is not None
        parts, missing = [], size
        while missing:
            if not select.select([self._process.stdout], [], [], self._hang_s)[0]:
                raise TimeoutError
            parts.append(os.read(self._process.stdout.fileno(), missing))
            if not parts[-1]:
                raise EOFError
            missing -= len(parts[-1])
        return b"".join(parts)

    def note_peak(self) -> int:
        """The largest resident size that the process has had so far, KiB."""
        status = Path(f"/proc/{self._process.pid}/status").read_text()
        line = next((line for line in status.splitlines() if line.startswith("VmHWM")), "VmHWM: 0 kB")
        self.peak_kib = max(self.peak_kib, int(line.split()[1]))
        return self.peak_kib

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
