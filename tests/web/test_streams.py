"""A stream whose estimates are slow, or fail, or whose disk is full: it is recorded, and the page is told."""

from __future__ import annotations

import asyncio
import errno
import os
import signal
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from canebench.base.errors import CanebenchError, InputError
from canebench.base.scales import DEFAULT_SCALE
from canebench.bench.views.live import listeners
from canebench.bench.views.live.listeners import StreamWanted
from canebench.sound.files.decode import read_recording
from canebench.web.live import streams
from canebench.web.live.recordings import Recordings
from canebench.web.live.streams import HEADER, MARK, Ending, Stream, ending_said
from canebench.web.live.workers import Workers

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Iterator
    from pathlib import Path

    from canebench.base.arrays import FloatArray

    #: The last word, all that was told before, and the samples that were put in.
    Played = tuple[dict[str, Any], list[dict[str, Any]], FloatArray]

RATE_HZ = 8_000
BLOCK = 400
#: So much sound is played at most until a process of estimates has begun; a busy machine takes its time.
_PATIENCE_S = 120.0
WANTED = StreamWanted(rate_hz=RATE_HZ, scale=DEFAULT_SCALE, reference="auto")


@pytest.fixture
def workers() -> Iterator[Workers]:
    made = Workers()
    yield made
    made.close()


def noise(seconds: float) -> FloatArray:
    return np.random.default_rng(1).normal(0, 0.1, round(seconds * RATE_HZ)).astype("<f4").astype(np.float64)


async def played(
    stream: Stream,
    samples: FloatArray,
    *,
    after: Callable[[list[dict[str, Any]]], bool] | None = None,
) -> Played:
    """Put in the samples in real time; `after` is asked after every block whether that is enough."""
    told: list[dict[str, Any]] = []

    async def tell(said: dict[str, Any]) -> None:
        told.append(said)

    stream.start(tell)
    try:
        for start in range(0, len(samples), BLOCK):
            part = samples[start : start + BLOCK].astype("<f4").tobytes()
            stream.put(HEADER.pack(MARK, 0, start) + part)
            await asyncio.sleep(BLOCK / RATE_HZ)
            if after is not None and after(told):
                samples = samples[: start + BLOCK]
                break
        return await stream.end(Ending.STOPPED), told, samples
    finally:
        stream.close()


def run(playing: Coroutine[Any, Any, Played]) -> Played:
    """In a thread of its own: a browser test before may have left its loop in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, playing).result()


def assert_all_there(kept: Recordings, end: dict[str, Any], samples: FloatArray) -> None:
    assert np.array_equal(read_recording(kept.finished(end["recording"])).samples, samples.astype("<f4"))


def test_slow_estimates_leave_out_the_oldest_and_say_so(
    tmp_path: Path, workers: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []
    kept = Recordings(tmp_path)
    stream = Stream(workers, kept.begin(rate_hz=RATE_HZ), WANTED, workers.for_next_stream())

    async def slow(call: Any, *given: Any) -> Any:
        if call is listeners.begin or call is listeners.forget:
            return call(*given)
        # An estimate that takes longer than half a second of sound.
        seen.extend(first for first, _ in call.args[1])
        await asyncio.sleep(0.9)
        return call(*given)

    monkeypatch.setattr(stream, "_there", slow)
    # The last estimate is waited for, however busy the machine is.
    monkeypatch.setattr(streams, "_LAST_ESTIMATE_S", 60.0)
    end, told, samples = run(played(stream, noise(4.0)))
    assert_all_there(kept, end, samples)
    assert end["breaks"] == 0
    assert "updates skipped" in told[-1]["skippedSaid"]
    assert told[0]["skippedSaid"] == ""
    # What was left out is the oldest: each estimate ends with the newest block of its time.
    blocks = np.array(seen) // BLOCK
    assert np.all(np.diff(blocks) > 0)
    assert len(blocks) == len(samples) // BLOCK - stream.skipped
    assert np.count_nonzero(np.diff(blocks) > 1) >= 2


def test_estimates_that_die_leave_the_recording(tmp_path: Path, workers: Workers) -> None:
    """The process that estimates is killed in the middle; the next stream finds another."""
    kept = Recordings(tmp_path)
    stream = Stream(workers, kept.begin(rate_hz=RATE_HZ), WANTED, workers.for_next_stream())
    killed: list[int] = []
    unseen: list[bool] = []

    def kill(told: list[dict[str, Any]]) -> bool:
        if not killed and any("at" in said for said in told):
            killed.extend(stream._pool._processes)
            for pid in killed:
                os.kill(pid, signal.SIGKILL)
        if any("blind" in said for said in told):
            unseen.append(True)
        # A second of sound comes in that nobody looks at.
        return len(unseen) > RATE_HZ // BLOCK

    end, told, samples = run(played(stream, noise(_PATIENCE_S), after=kill))
    assert killed
    assert "recorded all the same" in told[-1]["blind"]
    assert_all_there(kept, end, samples)
    second = Stream(workers, kept.begin(rate_hz=RATE_HZ), WANTED, workers.for_next_stream())
    end, told, samples = run(played(second, noise(_PATIENCE_S), after=bool))
    assert_all_there(kept, end, samples)
    assert told
    assert "blind" not in str(told)


def test_a_full_disk_ends_the_stream_with_a_sentence(
    tmp_path: Path, workers: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = Recordings(tmp_path)
    growing = kept.begin(rate_hz=RATE_HZ)
    stream = Stream(workers, growing, WANTED, workers.for_next_stream())
    write = growing.write

    def full(floats: bytes) -> None:
        if growing.frames >= RATE_HZ:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write(floats)

    monkeypatch.setattr(growing, "write", full)
    with pytest.raises(CanebenchError, match=r"cannot be written any more \(No space left on device\)"):
        run(played(stream, noise(3.0)))
    (left,) = kept.unfinished()
    assert left.duration_s == pytest.approx(1.0, abs=0.1)
    assert len(read_recording(kept.finished(left.name)).samples) == pytest.approx(RATE_HZ, abs=BLOCK)


def test_a_take_is_full_after_a_quarter_of_an_hour(
    tmp_path: Path, workers: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert streams.MOST_S == 900.0
    monkeypatch.setattr(streams, "MOST_S", 1.0)
    stream = Stream(workers, Recordings(tmp_path).begin(rate_hz=RATE_HZ), WANTED, workers.for_next_stream())
    assert not stream.full
    run(played(stream, noise(1.0)))
    assert stream.full


def test_endings_are_told_apart() -> None:
    assert ending_said('{"stop":true}') is Ending.STOPPED
    assert ending_said('{"stop": true}') is Ending.STOPPED
    assert ending_said('{"away":true}') is Ending.AWAY
    for text in (None, "", "stop", "[]", '{"stop":1, "x":2}', '{"full":true}'):
        with pytest.raises(InputError, match="stop or away"):
            ending_said(text)
