"""The decoder process fails in every way we can think of; its parent says so and goes on."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import DecodeError, InputError
from canebench.sound.files.decode import CHILD, child_limits, decode_file, read_bytes, recording_from
from support.effort import worked_s
from support.lies import wav

if TYPE_CHECKING:
    from canebench.sound.files.recording import Recording

PCM = bytes(9_600)
FAULTY = (sys.executable, "-P", str(Path(__file__).with_name("faulty_child.py")))


def test_the_decoder_can_open_nothing() -> None:
    """Beside the whitelists the kernel forbids it; the control is the same child without that fault."""
    with pytest.raises(DecodeError, match=r"the decoder failed \(status 1\)"):
        _decode_with("open")
    assert len(_decode_with("none").samples) == 4_800


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        ("segv", r"the decoder failed \(signal 11\) was given; a sound file is needed"),
        ("spin", r"the decoder ran for more than 0\.6 s was given"),
        ("hang", r"the decoder ran for more than 0\.6 s was given"),
        ("malloc", r"the decoder failed \(more than 512 MiB of memory asked for\) was given"),
        ("hoard", r"the decoder failed \(more than 512 MiB of memory asked for\) was given"),
        ("silent", "the decoder fell silent was given"),
        ("babble", "the decoder fell silent was given"),
        ("short", "the decoder lost samples was given"),
    ],
)
def test_a_failing_decoder_is_a_refusal(fault: str, sentence: str) -> None:
    begun, start = time.perf_counter(), worked_s()
    with pytest.raises(DecodeError, match=f"^take.wav: data on which {sentence}"):
        _decode_with(fault)
    assert worked_s() - start < 2.0
    # Left alone, one of them hangs for ten minutes.
    assert time.perf_counter() - begun < 60.0
    assert read_bytes(wav(PCM), origin="next").findings == ()


def test_the_cpu_limit_holds_without_the_clock() -> None:
    """A decoder that nobody waits for ends all the same."""
    done = _run([*FAULTY, "spin"], child_limits(0.5))
    assert done.returncode < 0


def test_memory_stays_below_its_cap() -> None:
    stderr = _run([*FAULTY, "hoard"], child_limits(10.0)).stderr
    found = re.search(r"VmHWM:\s+(\d+) kB", stderr)
    assert found is not None
    assert 256 * 1024 < int(found[1]) <= 512 * 1024


def test_a_full_disk_is_no_bad_file(tmp_path: Path) -> None:
    (tmp_path / "take.wav").write_bytes(wav(PCM))
    command = [*CHILD, child_limits(5.0)]
    with Path("/dev/full").open("wb") as full, (tmp_path / "take.wav").open("rb") as take:
        done = subprocess.run(command, stdin=take, stdout=full, stderr=subprocess.PIPE, check=True)
    assert b"no_space" in done.stderr
    with pytest.raises(InputError, match="does not fit into the temporary folder") as raised:
        recording_from({"no_space": "No space left on device"}, None, origin="take.wav")
    assert not isinstance(raised.value, DecodeError)


def test_a_name_in_the_working_folder_is_not_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "av.py").write_text("raise SystemExit(3)")
    monkeypatch.chdir(tmp_path)
    assert len(read_bytes(wav(PCM), origin="take").samples) == 4_800
    control = [part for part in CHILD if part != "-P"]
    assert _run(control, child_limits(5.0)).returncode == 3


def _decode_with(fault: str) -> Recording:
    with io.FileIO(os.memfd_create("take"), "r+") as handle:
        handle.write(wav(PCM))
        handle.seek(0)
        time_s = 0.6 if fault in ("spin", "hang") else 10.0
        return decode_file(handle, origin="take.wav", command=[*FAULTY, fault], timeout_s=time_s)


def _run(command: list[str], limits: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*command, limits],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        timeout=120,
    )
