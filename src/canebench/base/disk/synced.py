"""What was written is on the disk for certain, whatever happens to the power.

Guarded by `tests/faults/test_recordings_kept.py`.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def sync(path: Path) -> None:
    """A file's content; of a folder, the names in it: a new file may be gone after a cut without both."""
    place = os.open(path, os.O_RDONLY)
    try:
        os.fsync(place)
    finally:
        os.close(place)
