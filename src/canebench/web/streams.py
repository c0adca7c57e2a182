"""One microphone's stream: recorded as it comes, looked at often, heard now and then, never held up.

Where looks fall behind, the oldest sound is left out of looking, never of the recording, and the page says
so. Guarded by `tests/web/test_live.py`; figures in `benchmarks/stream.py`.
"""

from __future__ import annotations

import asyncio
import struct
from collections import deque
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError
from canebench.bench import listeners
from canebench.bench.listen import breaks_said

if TYPE_CHECKING:
    from canebench.base.scales import Scale
    from canebench.sound.intake import Section
    from canebench.sound.measure import ReferenceChoice
    from canebench.web.ears import Ears
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
#: A take ends by itself, s.
MOST_S: Final = 900.0
#: From one look to the next with few streams, and with many, s.
_TICK_S, _CROWDED_TICK_S, _CROWD = 0.06, 0.066, 6


class Stream:
    """One stream while it lasts."""

    def __init__(self, ears: Ears, growing: Growing, *, only_check: bool = False) -> None:
        self.ears, self.growing, self.only_check = ears, growing, only_check
        self.rate_hz = growing.rate_hz
        self.skipped = 0
        self._pool = ears.for_next_stream()
        self._to_look: deque[tuple[int, bytes]] = deque()
        self._to_write: deque[tuple[int, bytes]] = deque()
        self._waiting = 0
        self._written_to: int | None = None
        self._gaps, self._lost = 0, 0
        self._left_out = False
        self._unseen: list[int] = []
        self._inserted: list[tuple[int, int]] = []
        self._hearing: asyncio.Task[dict[str, Any] | None] | None = None

    async def begin(self, scale: Scale, reference: ReferenceChoice) -> None:
        """A listener of its own."""
        await self._there(listeners.begin, self.growing.name, self.rate_hz, scale, reference)

    @property
    def tick_s(self) -> float:
        """From one look to the next, s."""
        return _CROWDED_TICK_S if self.ears.streams > _CROWD else _TICK_S

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
                lost = max(0, first - self._written_to)
                self._gaps += 1
                self._lost += lost
                silence = min(max(lost / self.rate_hz, _LEAST_SILENCE_S), _MOST_LOST_S)
                frames = round(silence * self.rate_hz)
                self._inserted.append((first, frames - lost))
                self.growing.silence(frames)
            self.growing.write(listeners.plain(samples))
            self._written_to = first + len(samples) // _WIDTH

    async def look(self) -> dict[str, Any] | None:
        """What is new, for the page; None where nothing has come in."""
        if not self._to_look:
            return None
        parts, left_out = list(self._to_look), self._left_out
        self._to_look.clear()
        self._waiting, self._left_out = 0, False
        call = partial(
            listeners.look,
            self.growing.name,
            parts,
            left_out=left_out,
            gaps=self._gaps,
            lost_s=self._lost / self.rate_hz,
            room=self.ears.room and self._hearing is None,
        )
        told: dict[str, Any]
        told, self._unseen, section = await self._there(call)
        told["skipped"] = self.skipped
        if self._hearing is not None and self._hearing.done():
            beam = self._hearing.result()
            self._hearing = None
            if beam is not None:
                told["beam"] = beam
        if section is not None:
            self._hearing = asyncio.create_task(self._hear(section))
        return told

    async def _hear(self, section: Section) -> dict[str, Any] | None:
        closely = await asyncio.wrap_future(self.ears.hear(section))
        beam: dict[str, Any] | None = await self._there(listeners.take_in, self.growing.name, closely)
        return beam

    async def _there(self, call: Any, *given: Any) -> Any:
        """Call it where this stream's listener is."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, call, *given)

    async def finish(self) -> dict[str, Any]:
        """The recording is whole: its name, its length, and its gaps."""
        await self.write()
        await asyncio.get_running_loop().run_in_executor(self.ears.disk, self._finish)
        breaks = self._gaps + len(self._unseen)
        return {
            "recording": self.growing.name,
            "recorded": round(self.growing.frames / self.rate_hz, 1),
            "breaks": breaks,
            "breaksSaid": breaks_said(breaks, self._lost / self.rate_hz),
        }

    def _finish(self) -> None:
        """Breaks that only the phase told stand as silences too, where they are in the file by now."""
        cuts = [
            frame + sum(frames for first, frames in self._inserted if first <= frame)
            for frame in self._unseen
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

    def end(self) -> None:
        """Nobody listens to it any more."""
        self.ears.streams -= 1
        if self._hearing is not None:
            self._hearing.cancel()
        self._pool.submit(listeners.forget, self.growing.name)
