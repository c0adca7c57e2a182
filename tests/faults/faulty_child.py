"""The decoder process with a fault built in: `faulty_child.py FAULT LIMITS ...`; the rest is the real one."""

from __future__ import annotations

import ctypes
import os
import resource
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NoReturn

from canebench.sound.files import decode_child
from canebench.sound.files.decode_track import decode

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.sound.files.decode_track import DecodingLimits

_STATUS = Path("/proc/self/status").open()  # noqa: SIM115  opened before nothing can be opened any more
_CHUNK = 8 << 20


def _segv() -> None:
    ctypes.string_at(0)


def _spin() -> NoReturn:
    while True:
        pass


def _hang() -> None:
    time.sleep(600)


def _malloc() -> None:
    bytearray(8 << 30)


def _hoard() -> None:
    """Take memory bit by bit, and say how much it was."""
    hoard = []
    try:
        while True:
            hoard.append(b"\x01" * _CHUNK)
    except MemoryError:
        del hoard[-2:]  # room to speak
        _STATUS.seek(0)
        sys.stderr.write("".join(line for line in _STATUS if line.startswith("VmHWM")))
        raise


def _open() -> None:
    Path(__file__).open("rb").close()


def _silent() -> None:
    os._exit(0)


def _babble() -> None:
    sys.stderr.write("\nno facts\n")
    os._exit(0)


_FAULTS: dict[str, Callable[[], None]] = {
    "segv": _segv,
    "spin": _spin,
    "hang": _hang,
    "malloc": _malloc,
    "hoard": _hoard,
    "open": _open,
    "silent": _silent,
    "babble": _babble,
    "short": lambda: None,
    "none": lambda: None,
}


def main() -> None:
    """Run the real decoder with its decoding step replaced once it is confined."""
    name, confine = sys.argv.pop(1), decode_child.confine

    def faulty(
        source: BinaryIO, write: Callable[[bytes | memoryview], object], limits: DecodingLimits
    ) -> dict[str, object]:
        _FAULTS[name]()
        facts = decode(source, write, limits)
        return {**facts, "samples": 1} if name == "short" else facts

    def confine_then_fail(limits: DecodingLimits) -> None:
        confine(limits)
        memory, cpu = limits["memory_bytes"], limits["cpu_s"]
        # One more file, beside the three, would be one too many.
        held = {
            resource.RLIMIT_AS: memory,
            resource.RLIMIT_DATA: memory,
            resource.RLIMIT_CPU: cpu,
            resource.RLIMIT_CORE: 0,
            resource.RLIMIT_NOFILE: 3,
        }
        for what, most in held.items():
            assert resource.getrlimit(what) == (most, most)
        decode_child.decode = faulty  # type: ignore[attr-defined]

    decode_child.confine = confine_then_fail
    decode_child.main()


if __name__ == "__main__":
    main()
