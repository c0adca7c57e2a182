"""One microphone's stream: recorded as it comes, looked at often, heard now and then, never held up.

Looks take turns in one thread, whole hearings in a process of their own with low priority, and the disk has
its own threads, so that neither a slow disk nor many streams stop the sound from coming in. Where looks fall
behind, the oldest sound is left out of looking, never of the recording, and the page says so. Guarded by
`tests/web/test_live.py`; figures in `benchmarks/stream.py`.
"""

from __future__ import annotations

import asyncio
import os
import struct
from collections import deque
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import asdict, replace
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.bench.listen import LiveListener, breaks_said, hear_closely, live_beam, now_object

if TYPE_CHECKING:
    from concurrent.futures import Future

    from canebench.base.scales import Scale
    from canebench.sound.listening import Closely
    from canebench.sound.measure import ReferenceChoice
    from canebench.web.recordings import Growing

#: Each frame of the browser: our mark, samples dropped there so far, and the number of its first sample.
HEADER: Final = struct.Struct("<4sIQ")
MARK: Final = b"cnb1"
_MOST_FRAME: Final = 64 * 1024
_WIDTH: Final = 4
#: A gap stands as silence of at least this long in the recording, so that no drone is joined across it, s.
_LEAST_SILENCE_S: Final = 0.4
#: More than this waiting to be looked at, s, and the oldest is left out.
_MOST_WAITING_S: Final = 0.5
_MOST_LOST_S: Final = 60.0
#: So many hearings may wait at once; a stream that finds no room hears later.
_MOST_HEARINGS: Final = 3
#: A take ends by itself, s.
MOST_S: Final = 900.0


class Ears:
    """What all streams share: the thread of looks, the process of hearings, the threads of the disk."""

    def __init__(self) -> None:
        self.looks = ThreadPoolExecutor(1, thread_name_prefix="look")
        self.disk = ThreadPoolExecutor(4, thread_name_prefix="disk")
        self._hearings: ProcessPoolExecutor | None = None
        self._waiting = 0

    def hear(self, listener: LiveListener) -> Future[Closely] | None:
        """Begin a hearing, if there are not too many already."""
        if self._waiting >= _MOST_HEARINGS:
            return None
        if self._hearings is None:
            self._hearings = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_give_way)
        self._waiting += 1
        future = self._hearings.submit(hear_closely, listener.begin_hearing())
        future.add_done_callback(self._ended)
        return future

    def _ended(self, _: object) -> None:
        self._waiting -= 1

    def close(self) -> None:
        """Let go of threads and process."""
        self.looks.shutdown(wait=False)
        self.disk.shutdown(wait=True)
        if self._hearings is not None:
            self._hearings.shutdown(wait=False, cancel_futures=True)


def _give_way() -> None:
    """Hearings wait for looks, not looks for hearings."""
    if hasattr(os, "nice"):
        os.nice(10)


class Stream:
    """One stream while it lasts."""

    def __init__(
        self,
        ears: Ears,
        growing: Growing,
        *,
        scale: Scale,
        reference: ReferenceChoice,
        only_check: bool = False,
    ) -> None:
        self.ears, self.growing, self.only_check = ears, growing, only_check
        self.rate_hz = growing.rate_hz
        self.listener = LiveListener(rate_hz=growing.rate_hz, scale=scale, reference=reference)
        self.skipped = 0
        self._to_look: deque[tuple[int, bytes]] = deque()
        self._to_write: deque[tuple[int, bytes]] = deque()
        self._waiting = 0
        self._written_to: int | None = None
        self._gaps, self._lost = 0, 0
        self._left_out = False
        self._inserted: list[tuple[int, int]] = []
        self._hearing: Future[Closely] | None = None

    def put(self, frame: bytes) -> None:
        """A frame of the browser; one that is none is an `InputError`."""
        if not HEADER.size < len(frame) <= _MOST_FRAME or (len(frame) - HEADER.size) % _WIDTH:
            raise InputError(
                field="frame", given=f"{len(frame)} bytes", allowed="a header and 32-bit floats are taken"
            )
        mark, _, first = HEADER.unpack_from(frame)
        if mark != MARK or first > MOST_S * 2 * self.rate_hz:
            raise InputError(field="frame", given=repr(mark), allowed="frames of this page are taken")
        samples = frame[HEADER.size :]
        self._to_write.append((first, samples))
        self._to_look.append((first, samples))
        self._waiting += len(samples) // _WIDTH
        while self._waiting > _MOST_WAITING_S * self.rate_hz and len(self._to_look) > 1:
            self._waiting -= len(self._to_look.popleft()[1]) // _WIDTH
            self.skipped += 1
            self._left_out = True

    async def write(self) -> None:
        """Everything that waits, onto the disk."""
        while self._to_write:
            parts = list(self._to_write)
            self._to_write.clear()
            await asyncio.get_running_loop().run_in_executor(self.ears.disk, self._write, parts)

    def _write(self, parts: list[tuple[int, bytes]]) -> None:
        for first, samples in parts:
            if self._written_to is not None and first != self._written_to:
                self._gaps += 1
                self._lost += max(0, first - self._written_to)
                lost = max(0, first - self._written_to) / self.rate_hz
                silence = min(max(lost, _LEAST_SILENCE_S), _MOST_LOST_S)
                frames = round(silence * self.rate_hz)
                self._inserted.append((first, frames - max(0, first - self._written_to)))
                self.growing.silence(frames)
            # A number that is none would end every measurement of the take.
            floats = np.nan_to_num(np.frombuffer(samples, "<f4"), nan=0.0, posinf=1.0, neginf=-1.0)
            self.growing.write(floats.astype("<f4").tobytes())
            self._written_to = first + len(samples) // _WIDTH

    async def look(self) -> dict[str, Any] | None:
        """What is new, for the page; None where nothing has come in."""
        if not self._to_look:
            return None
        parts = list(self._to_look)
        self._to_look.clear()
        self._waiting = 0
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self.ears.looks, self._look, parts)

    def _look(self, parts: list[tuple[int, bytes]]) -> dict[str, Any]:
        if self._left_out:
            # Left out by ourselves, of looking only: no gap, but nothing to join either.
            self.listener.leave_out()
            self._left_out = False
        for first, samples in parts:
            floats = np.frombuffer(samples, "<f4").astype(np.float64)
            self.listener.add(np.nan_to_num(floats, posinf=1.0, neginf=-1.0), first_frame=first)
        now = self.listener.look()
        told = now_object(replace(now, breaks=self._breaks(), lost_s=self._lost / self.rate_hz))
        told["skipped"] = self.skipped
        if self._hearing is not None and self._hearing.done():
            measurement = self.listener.end_hearing(self._hearing.result())
            self._hearing = None
            if measurement is not None:
                told["beam"] = asdict(live_beam(measurement))
        if self._hearing is None and self.listener.settles:
            self._hearing = self.ears.hear(self.listener)
        return told

    def _breaks(self) -> int:
        """Gaps that the counter told, and breaks that only the phase did."""
        return self._gaps + len(self.listener.unseen)

    async def finish(self) -> dict[str, Any]:
        """The recording is whole: its name, its length, and its gaps."""
        await self.write()
        await asyncio.get_running_loop().run_in_executor(self.ears.disk, self._finish)
        return {
            "recording": self.growing.name,
            "recorded": round(self.growing.frames / self.rate_hz, 1),
            "breaks": self._breaks(),
            "breaksSaid": breaks_said(self._breaks(), self._lost / self.rate_hz),
        }

    def _finish(self) -> None:
        """Breaks that only the phase told stand as silences too, where they are in the file by now."""
        cuts = [
            frame + sum(frames for first, frames in self._inserted if first <= frame)
            for frame in self.listener.unseen
        ]
        self.growing.finish(cuts, silence=round(_LEAST_SILENCE_S * self.rate_hz))

    def leave(self) -> None:
        """The page is gone: what came stays as it is. At once: whoever waited may be gone too."""
        self._write(list(self._to_write))
        self._to_write.clear()
        if self.only_check:
            self.growing.discard()
        else:
            self.growing.close()
