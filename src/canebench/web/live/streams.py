"""One microphone's stream: recorded as it comes, looked at often, heard now and then, never held up.

Recording and estimating go on apart: where estimates fall behind, the oldest sound is left out of them, and
where they fail altogether the recording goes on; the page is told either. Guarded by
`tests/web/test_live.py` and `tests/web/test_streams.py`; figures in `benchmarks/stream.py`.
"""

from __future__ import annotations

import asyncio
import json
import logging
import struct
import time
from collections import deque
from concurrent.futures import BrokenExecutor
from contextlib import suppress
from enum import Enum
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import CanebenchError, InputError
from canebench.bench.views.live import listeners
from canebench.bench.views.live.listen import breaks_said, skipped_said
from canebench.web.live.stream_writer import StreamWriter

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable
    from concurrent.futures import ProcessPoolExecutor

    from canebench.bench.views.live.listeners import StreamWanted
    from canebench.sound.dsp.decimation import Section
    from canebench.web.live.recordings import GrowingRecording
    from canebench.web.live.workers import Workers

    Tell = Callable[[dict[str, Any]], Awaitable[None]]

_LOGGER: Final = logging.getLogger(__name__)
#: Each frame of the browser: our mark, samples dropped there so far, and the number of its first sample.
HEADER: Final = struct.Struct("<4sIQ")
MARK: Final = b"cnb1"
_MOST_FRAME: Final = 64 * 1024
_WIDTH: Final = 4
#: More than this waiting to be looked at, s, and the oldest is left out; while the listener starts, more may.
_MOST_WAITING_S, _STARTING_S = 0.5, 10.0
#: A take ends by itself, s.
MOST_S: Final = 900.0
#: What has come is looked at at once, but no sooner than so long after the last estimate began, s.
_LEAST_TICK_S: Final = 0.04
#: From one writing to the next, s; with the time between syncs, what a kill can lose.
_WRITE_S: Final = 0.2
#: At its end, estimates have so long to come to theirs, s.
_LAST_ESTIMATE_S: Final = 3.0


class Ending(Enum):
    """How a stream ends."""

    STOPPED = "stop"
    AWAY = "away"
    FULL = "full"
    GONE = "gone"


class Stream:
    """One stream while it lasts."""

    def __init__(
        self, workers: Workers, growing: GrowingRecording, wanted: StreamWanted, pool: ProcessPoolExecutor
    ) -> None:
        self.workers, self.wanted = workers, wanted
        self.writer = StreamWriter(growing)
        self.rate_hz = growing.rate_hz
        self.skipped = 0
        self._name = growing.name
        self._pool = pool
        self._to_estimate: deque[tuple[int, bytes]] = deque()
        self._waiting = 0
        self._most_waiting_s = _STARTING_S
        self._left_out = False
        self._new = asyncio.Event()
        self._next_analysis_s = 0.0
        self._unseen: list[int] = []
        self._analysis: asyncio.Task[dict[str, Any] | None] | None = None
        self._stopping = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self._failed: CanebenchError | None = None

    @property
    def full(self) -> bool:
        """Whether it has become as long as a take may be."""
        return self.writer.growing.frames >= MOST_S * self.rate_hz

    def start(self, tell: Tell) -> None:
        """Begin to write and to estimate; `tell` takes what the page is to know."""
        self._tasks = [asyncio.create_task(self._keep()), asyncio.create_task(self._watch(tell))]

    def put(self, frame: bytes) -> None:
        """A frame of the browser; one that is none is an `InputError`."""
        if self._failed is not None:
            raise self._failed
        if not HEADER.size < len(frame) <= _MOST_FRAME or (len(frame) - HEADER.size) % _WIDTH:
            raise InputError(
                field="frame", given=f"{len(frame)} bytes", allowed="a header and 32-bit floats are taken"
            )
        mark, _, first = HEADER.unpack_from(frame)
        if mark != MARK or first > MOST_S * 2 * self.rate_hz:
            raise InputError(field="frame", given=repr(mark), allowed="frames of this page are taken")
        samples = frame[HEADER.size :]
        self.writer.put(first, samples)
        self._to_estimate.append((first, samples))
        self._waiting += len(samples) // _WIDTH
        while self._waiting > self._most_waiting_s * self.rate_hz and len(self._to_estimate) > 1:
            self._waiting -= len(self._to_estimate.popleft()[1]) // _WIDTH
            self.skipped += 1
            self._left_out = True
        self._new.set()

    async def _keep(self) -> None:
        try:
            while not self._stopping.is_set():
                await self._on_disk(self.writer.write)
                await self._pause(_WRITE_S)
        except CanebenchError as error:
            # Said with the next frame, which ends the stream.
            self._failed = error

    async def _watch(self, tell: Tell) -> None:
        clock = asyncio.get_running_loop().time
        try:
            await self._there(listeners.begin, self._name, self.wanted)
            while not self._stopping.is_set():
                await self._new.wait()
                self._new.clear()
                due = clock() + _LEAST_TICK_S
                told = await self.estimate()
                if told is not None:
                    await tell(told)
                await self._pause(due - clock())
            # What came last may hold a break.
            await self.estimate()
        except Exception as error:
            # Estimates are a help, the recording is the take: whatever befalls them, it goes on.
            _LOGGER.exception("a stream is not looked at any more")
            if isinstance(error, BrokenExecutor):
                self.workers.lose(self._pool)
            await tell({"blind": "Nothing can be shown while you play; it is recorded all the same."})

    async def _pause(self, seconds: float) -> None:
        if seconds > 0:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._stopping.wait(), seconds)

    async def estimate(self) -> dict[str, Any] | None:
        """What is new, for the page; None where nothing has come in."""
        if not self._to_estimate:
            return None
        parts, left_out = list(self._to_estimate), self._left_out
        self._to_estimate.clear()
        self._waiting, self._left_out = 0, False
        call = partial(
            listeners.estimate,
            self._name,
            parts,
            left_out=left_out,
            gaps=self.writer.gaps,
            lost_s=self.writer.lost_s,
            room=self.workers.room and self._analysis is None and time.monotonic() >= self._next_analysis_s,
        )
        told: dict[str, Any]
        told, self._unseen, section = await self._there(call)
        self._most_waiting_s = _MOST_WAITING_S
        told["skippedSaid"] = skipped_said(self.skipped)
        if self._analysis is not None and self._analysis.done():
            beam = self._analysis.result()
            self._analysis = None
            if beam is not None:
                told["beam"] = beam
        if section is not None:
            self._next_analysis_s = time.monotonic() + self.workers.turn_s
            self._analysis = asyncio.create_task(self._hear(section))
        return told

    async def _hear(self, section: Section) -> dict[str, Any] | None:
        try:
            closely = await asyncio.wrap_future(self.workers.hear(section))
        except BrokenExecutor:
            # The next one finds a new process.
            return None
        beam: dict[str, Any] | None = await self._there(listeners.take_in, self._name, closely)
        return beam

    async def _there(self, call: Any, *given: Any) -> Any:
        """Call it where this stream's listener is."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, call, *given)

    async def _on_disk(self, call: Any, *given: Any) -> None:
        await asyncio.get_running_loop().run_in_executor(self.workers.disk, call, *given)

    async def end(self, how: Ending) -> dict[str, Any]:
        """The last word: the recording's name, its length and its gaps; or that there is none."""
        self._stopping.set()
        self._new.set()
        await asyncio.wait(self._tasks, timeout=_LAST_ESTIMATE_S)
        if how is Ending.AWAY or self.wanted.check:
            await self._on_disk(self.writer.discard)
            return {"away": True}
        if self._failed is not None:
            raise self._failed
        await self._on_disk(self.writer.finish, self._unseen)
        breaks = self.writer.gaps + len(self._unseen)
        return {
            "recording": self._name,
            "recorded": round(self.writer.growing.frames / self.rate_hz, 1),
            "breaks": breaks,
            "breaksSaid": breaks_said(breaks, self.writer.lost_s),
            "full": how is Ending.FULL,
        }

    def close(self) -> None:
        """Nobody sends or listens any more; what came stays as it is, but for a check.

        Without waiting for anyone: the server itself may be stopping. The disk may be slow, so it is
        written apart from everybody's loop.
        """
        for task in (*self._tasks, self._analysis):
            if task is not None:
                task.cancel()
        self.workers.streams -= 1
        with suppress(RuntimeError):
            self._pool.submit(listeners.forget, self._name)
        try:
            self.workers.disk.submit(self._leave)
        except RuntimeError:
            # The server has let its threads go.
            self._leave()

    def _leave(self) -> None:
        self.writer.leave()
        if self.wanted.check:
            self.writer.discard()


def ending_said(text: str | None) -> Ending:
    """What the page says to end a stream: `{"stop": true}`, or `{"away": true}`."""
    try:
        said = json.loads(text or "")
    except ValueError:
        said = None
    for ending in (Ending.STOPPED, Ending.AWAY):
        if said == {ending.value: True}:
            return ending
    raise InputError(field="message", given=repr((text or "")[:40]), allowed="sound, stop or away is taken")
