"""A recording checks itself, leaves its maker's array alone, and need not stay in memory."""

from __future__ import annotations

import math
import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.sound.files.decode import read_bytes
from canebench.sound.files.recording import RATE_RANGE_HZ, Recording
from support.soundfiles import tone_file

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("rate_hz", "nearest"),
    [
        (0.0, "8000 Hz"),
        (7_999.0, "8000 Hz"),
        (192_001.0, "192000 Hz"),
        (-48_000.0, "8000 Hz"),
        (2e9, "192000 Hz"),
    ],
)
def test_a_rate_out_of_range_is_refused(rate_hz: float, nearest: str) -> None:
    sentence = rf"{rate_hz:g} Hz was given; from 8000 to 192000 Hz. Nearest that works: {nearest}".replace(
        "+", r"\+"
    )
    with pytest.raises(InputError, match=sentence):
        Recording(samples=np.zeros(8, np.float32), rate_hz=rate_hz, origin="test")


def test_a_rate_that_is_no_number_is_refused() -> None:
    with pytest.raises(InputError, match="nan Hz was given"):
        Recording(samples=np.zeros(8, np.float32), rate_hz=math.nan, origin="test")


@pytest.mark.parametrize("rate_hz", RATE_RANGE_HZ)
def test_the_ends_of_the_range_are_allowed(rate_hz: float) -> None:
    assert Recording(samples=np.zeros(8_000, np.float32), rate_hz=rate_hz, origin="test").duration_s > 0


@pytest.mark.parametrize(
    ("samples", "given_text"),
    [
        (np.zeros(8), r"float64 array of shape \(8,\)"),
        (np.zeros(8, np.int16), r"int16 array of shape \(8,\)"),
        (np.zeros((2, 8), np.float32), r"float32 array of shape \(2, 8\)"),
    ],
)
def test_other_arrays_are_refused(
    samples: np.ndarray[tuple[int, ...], np.dtype[np.float32]], given_text: str
) -> None:
    with pytest.raises(
        InputError, match=f"samples: {given_text} was given; one channel of float32 is needed"
    ):
        Recording(samples=samples, rate_hz=48_000, origin="test")


def test_samples_are_read_only_and_the_callers_array_is_not() -> None:
    mine = np.zeros(8, np.float32)
    recording = Recording(samples=mine, rate_hz=48_000, origin="test")
    with pytest.raises(ValueError, match="read-only"):
        recording.samples[0] = 1.0
    mine[0] = 1.0
    assert mine.flags.writeable


@given(count=st.integers(0, 300), size=st.integers(1, 400))
def test_blocks_join_to_the_samples(count: int, size: int) -> None:
    recording = Recording(samples=np.arange(count, dtype=np.float32), rate_hz=48_000, origin="test")
    blocks = list(recording.blocks(size))
    assert all(len(block) == size for block in blocks[:-1])
    np.testing.assert_array_equal(np.concatenate([np.zeros(0, np.float32), *blocks]), recording.samples)


def test_blocks_of_a_spooled_file_keep_their_values() -> None:
    """Pages given back are read again from the spool, not lost."""
    recording = read_bytes(tone_file("wav-24", rate_hz=48_000), origin="tone")
    first = recording.samples.copy()
    assert recording.spool is not None
    for _ in range(2):
        np.testing.assert_array_equal(np.concatenate([b.copy() for b in recording.blocks(1000)]), first)


_WALK = """
import sys, pathlib
from canebench.sound.files.decode import read_recording
def resident_mib():
    lines = pathlib.Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024
before = resident_mib()
recording = read_recording(pathlib.Path(sys.argv[1]))
total = sum(float(block @ block) for block in {walk})
print(recording.duration_s, resident_mib() - before)
"""


def _grown_mib(path: Path, walk: str) -> float:
    command = [sys.executable, "-c", _WALK.format(walk=walk), str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    duration_s, grown = map(float, done.stdout.split())
    assert duration_s == 1800.0
    return grown


def test_half_an_hour_stays_out_of_memory(tmp_path: Path) -> None:
    """330 MiB of samples; the control walks the same file without giving pages back."""
    short, path = tone_file("wav-24", rate_hz=48_000, duration_s=0.1), tmp_path / "long.wav"
    bytes_long = 1800 * 48_000 * 3
    place = short.index(b"data") + 4
    with path.open("wb") as handle:
        handle.write(short[:place] + bytes_long.to_bytes(4, "little"))
        handle.truncate(place + 4 + bytes_long)
    assert _grown_mib(path, "recording.blocks()") < 16.0
    assert _grown_mib(path, "[recording.samples]") > 300.0
