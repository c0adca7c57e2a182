"""The decoder process: one file on stdin, mono float32 (little-endian) on stdout, one JSON line on stderr.

It is a process of its own because it runs a large C library over bytes from strangers: it caps its memory
and time, may open no other file, and may die without harm. It imports nothing heavy but PyAV, so that it
starts quickly. All limits come from the parent (`canebench.sound.files.decode`), as JSON in the first
argument. Guarded by `tests/faults/test_ingest_child.py` and `tests/faults/test_ingest_fuzz.py`.
"""

from __future__ import annotations

import io
import json
import os
import resource
import sys
from struct import Struct

import av

from canebench.sound.files.decode_track import DecodingLimits, decode

_LENGTH = Struct("<I")
#: A WAV of one silent stereo frame.
_SHORTEST = bytes.fromhex(
    "5249464628000000 57415645 666d742010000000 0100 0200 80bb0000 00ee0200 0400 1000"
    "6461746104000000 00000000"
)


class SpoolError(Exception):
    """The samples cannot be written down."""


def confine(limits: DecodingLimits) -> None:
    """Cap memory and time; from here on nothing can be opened beside the three standard files."""
    decode(io.BytesIO(_SHORTEST), lambda _: None, limits)  # now, since PyAV imports more when first used
    memory, cpu = limits["memory_bytes"], limits["cpu_s"]
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_DATA, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (3, 3))


def serve(limits: DecodingLimits) -> None:
    """Decode many files in turn, for the fuzz test: length-prefixed in; facts and samples out likewise."""
    inward, outward = os.fdopen(0, "rb"), os.fdopen(1, "wb")
    while head := inward.read(_LENGTH.size):
        kept = io.BytesIO()
        status = decode(io.BytesIO(inward.read(*_LENGTH.unpack(head))), kept.write, limits)
        for part in (json.dumps(status).encode(), kept.getvalue()):
            outward.write(_LENGTH.pack(len(part)) + part)
        outward.flush()


def main() -> None:
    """Entry: `decode_child LIMITS [serve]`."""
    limits: DecodingLimits = json.loads(sys.argv[1])
    av.logging.set_level(None)
    confine(limits)
    if sys.argv[2:] == ["serve"]:
        serve(limits)
        return
    spool = io.FileIO(1, "wb")  # without a buffer: nothing is left to write when the disk is full

    def write(block: bytes | memoryview) -> None:
        rest = memoryview(block)
        try:
            while rest:
                rest = rest[spool.write(rest) :]
        except OSError as error:
            raise SpoolError(error.strerror) from error

    try:
        status = decode(io.FileIO(0), write, limits)
    except SpoolError as error:
        status = {"no_space": str(error)}
    sys.stderr.write("\n" + json.dumps(status) + "\n")


if __name__ == "__main__":
    main()
