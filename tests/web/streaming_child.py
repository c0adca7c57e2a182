"""Streams into a recording in real time and says how much it has taken; to be killed."""

from __future__ import annotations

import math
import struct
import sys
import time
from pathlib import Path

from canebench.web.live.recordings import Recordings

RATE_HZ = 48_000
BLOCK = 2_048


def main() -> None:
    growing = Recordings(Path(sys.argv[1])).begin(rate_hz=RATE_HZ)
    if sys.argv[2] == "never-synced":
        # The control: whatever comes waits in this process for the end.
        growing._file.close()
        growing._opened = growing.path.open("ab", buffering=1 << 26)
        growing._synced_s = math.inf
    start, frames = time.monotonic(), 0
    while True:
        block = (0.5 * math.sin(2 * math.pi * 480 * (frames + n) / RATE_HZ) for n in range(BLOCK))
        growing.write(struct.pack(f"<{BLOCK}f", *block))
        frames += BLOCK
        sys.stdout.write(f"{frames}\n")
        sys.stdout.flush()
        time.sleep(max(0.0, start + frames / RATE_HZ - time.monotonic()))


if __name__ == "__main__":
    main()
