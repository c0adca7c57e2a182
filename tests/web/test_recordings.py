"""Recordings while they grow: bit for bit what was sent, and after a kill still there but for a second."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from canebench.base.errors import InputError, NotFoundError
from canebench.sound.files.decode import read_recording
from canebench.web.live.recordings import Recordings

_CHILD = Path(__file__).with_name("streaming_child.py")
_RATE_HZ = 48_000


def test_what_was_sent_is_what_is_kept(tmp_path: Path) -> None:
    kept = Recordings(tmp_path)
    sent = np.random.default_rng(1).normal(0, 0.1, 3 * _RATE_HZ).astype("<f4")
    growing = kept.begin(rate_hz=_RATE_HZ)
    for start in range(0, len(sent), 1_000):
        growing.write(sent[start : start + 1_000].tobytes())
    (before,) = kept.unfinished()
    assert before.duration_s == pytest.approx(3.0, abs=0.6)
    growing.finish()
    heard = read_recording(kept.finished(growing.name))
    assert heard.rate_hz == _RATE_HZ
    assert np.array_equal(heard.samples, sent)
    assert heard.findings == ()
    kept.kept(kept.finished(growing.name))
    assert kept.unfinished() == []


def test_what_was_lost_is_silence_of_its_length(tmp_path: Path) -> None:
    growing = Recordings(tmp_path).begin(rate_hz=_RATE_HZ)
    growing.write(struct.pack("<4f", 0.1, 0.2, 0.3, 0.4))
    growing.silence(1_000)
    growing.write(struct.pack("<1f", 0.5))
    growing.finish()
    data = growing.path.read_bytes()[44:]
    assert len(data) == 4 * 1_005
    assert data[16:-4] == bytes(4_000)


def test_names_never_lead_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "other.wav").write_bytes(b"RIFF")
    kept = Recordings(tmp_path / "takes")
    for name in ("../other", "other", "/etc/passwd", "", "a" * 24, "A" * 24, "." * 24):
        with pytest.raises(NotFoundError):
            kept.finished(name)
    with pytest.raises(InputError, match="sample rate"):
        kept.begin(rate_hz=7)


def killed(folder: Path, how: str) -> tuple[float, float]:
    """Seconds that were taken when it was killed, and seconds that can be measured after."""
    command = [sys.executable, str(_CHILD), str(folder), how]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        told = [next(child.stdout)]
        while int(told[-1]) < 2 * _RATE_HZ:
            told.append(next(child.stdout))
        child.kill()
        # What it said before it was killed; a word cut off was never said.
        told += [line for line in child.stdout if line.endswith("\n")]
    taken = int(told[-1])
    left = Recordings(folder).unfinished()
    if not left:
        return taken / _RATE_HZ, 0.0
    try:
        heard = read_recording(Recordings(folder).finished(left[0].name))
    except InputError:
        return taken / _RATE_HZ, 0.0
    return taken / _RATE_HZ, len(heard.samples) / _RATE_HZ


def test_a_kill_loses_no_more_than_a_second(tmp_path: Path) -> None:
    taken, kept = killed(tmp_path, "as usual")
    assert taken >= 2.0
    assert taken - 1.0 <= kept <= taken + 0.1


def test_without_syncing_a_kill_would_lose_more(tmp_path: Path) -> None:
    """The control: what is never flushed is gone."""
    taken, kept = killed(tmp_path, "never-synced")
    assert taken >= 2.0
    assert kept < taken - 1.0 or kept == 0.0


def test_who_never_sends_sound_leaves_nothing(tmp_path: Path) -> None:
    recordings = Recordings(tmp_path)
    for _ in range(150):
        recordings.begin(rate_hz=48_000).close()
    assert list(tmp_path.iterdir()) == []
    # Control: the least sound is kept and listed.
    growing = recordings.begin(rate_hz=48_000)
    growing.write(bytes(4))
    growing.close()
    assert [one.name for one in recordings.unfinished()] == [growing.name]


def test_a_recording_without_sound_is_not_listed_and_swept_in_time(tmp_path: Path) -> None:
    """As a kill at the first sound leaves it, and as those before it were left."""
    recordings = Recordings(tmp_path)
    empty = tmp_path / f"{'a' * 24}.wav"
    growing = recordings.begin(rate_hz=48_000)
    growing.write(bytes(4))
    growing.close()
    empty.write_bytes(growing.path.read_bytes()[:44])
    assert [one.name for one in recordings.unfinished()] == [growing.name]
    recordings.begin(rate_hz=48_000)
    assert empty.exists()
    for path in (empty, growing.path):
        os.utime(path, (1.0, 1.0))
    recordings.begin(rate_hz=48_000)
    assert sorted(tmp_path.iterdir()) == [growing.path]
