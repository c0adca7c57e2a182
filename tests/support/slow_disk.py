"""A disk whose every write, sync, cutting short and deleting takes its time, for the rest of this process.

SQLite's, where its library calls the system (`support/sqlite_hooks`), and `os.fsync`. Nothing is undone: for
processes that are thrown away.
"""

from __future__ import annotations

import os
import random
import sys
import threading
import time
from typing import Any

from support.sqlite_hooks import watch_sqlite


class Waits:
    """So many seconds at least and at most, by a seed; from several threads at once."""

    def __init__(self, least_s: float, most_s: float, seed: int) -> None:
        self.least_s, self.most_s = least_s, most_s
        self._chance = random.Random(seed)  # noqa: S311 - delays, not secrets
        self._lock = threading.Lock()
        #: All that was waited for so far, s.
        self.taken_s = 0.0

    def __call__(self, *_: object) -> None:
        """Wait once."""
        with self._lock:
            wait_s = self._chance.uniform(self.least_s, self.most_s)
            self.taken_s += wait_s
        time.sleep(wait_s)


def finding_support() -> dict[str, str]:
    """The environment of a child that is to find this module as its parent does."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}


def make_disk_slow(least_s: float, most_s: float, *, seed: int) -> Waits:
    """From now on, in this process; each operation takes between so many seconds more."""
    waits = Waits(least_s, most_s, seed)
    watch_sqlite(lambda *_: None, waits)
    fsync = os.fsync

    def slow_fsync(fd: Any) -> None:
        waits()
        fsync(fd)

    os.fsync = slow_fsync
    return waits
