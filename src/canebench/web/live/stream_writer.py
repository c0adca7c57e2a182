"""What comes from a microphone, onto the disk in its order: gaps stand as silence, nothing is joined.

Guarded by `tests/web/test_live.py`.
"""

from __future__ import annotations

import threading
from collections import deque
from contextlib import suppress
from typing import TYPE_CHECKING, Final

from canebench.base.errors import CanebenchError
from canebench.bench.views.live.listeners import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.web.live.recordings import GrowingRecording

_WIDTH: Final = 4
#: A gap stands as silence of at least this long in the recording, so that no drone is joined across it, s.
_LEAST_SILENCE_S: Final = 0.4
#: Of all gaps together a recording holds so much silence, s; a stream that lost more is no take.
_MOST_SILENCE_S: Final = 60.0


class StreamWriter:
    """One recording and what waits to be written to it; written by one thread at a time."""

    def __init__(self, growing: GrowingRecording) -> None:
        self.growing = growing
        self.gaps = 0
        self._lost = 0
        self._waiting: deque[tuple[int, bytes]] = deque()
        self._writing = threading.Lock()
        self._next: int | None = None
        self._inserted: list[tuple[int, int]] = []
        self._silent = 0

    @property
    def lost_s(self) -> float:
        """What the counter says is missing, s."""
        return self._lost / self.growing.rate_hz

    def put(self, first: int, samples: bytes) -> None:
        """The next block; `first` counts its first sample from the stream's beginning."""
        self._waiting.append((first, samples))

    def write(self) -> None:
        """Everything that waits; where the disk takes no more, a `CanebenchError`."""
        try:
            with self._writing:
                while self._waiting:
                    self._append(*self._waiting.popleft())
        except OSError as error:
            raise _no_room(error) from error

    def _append(self, first: int, samples: bytes) -> None:
        if self._next is not None and first != self._next:
            lost = max(0, first - self._next)
            self.gaps += 1
            self._lost += lost
            frames = max(lost, round(_LEAST_SILENCE_S * self.growing.rate_hz))
            self._silent += frames
            if self._silent > _MOST_SILENCE_S * self.growing.rate_hz:
                # Not more of a file than was sent: what counts so is broken, or means no good.
                self._waiting.clear()
                raise CanebenchError(
                    f"More than {_MOST_SILENCE_S:g} s of the sound did not come through. What came before is "
                    "kept: close other programs, then listen again."
                )
            self._inserted.append((first, frames - lost))
            self.growing.silence(frames)
        self.growing.write(plain(samples))
        self._next = first + len(samples) // _WIDTH

    def finish(self, unseen: Sequence[int]) -> None:
        """The recording is whole; breaks that no counter told, at frames `unseen`, are silences too."""
        self.write()
        # Where they are in the file by now.
        cuts = [frame + sum(frames for first, frames in self._inserted if first <= frame) for frame in unseen]
        try:
            self.growing.finish(cuts, silence=round(_LEAST_SILENCE_S * self.growing.rate_hz))
        except OSError as error:
            raise _no_room(error) from error

    def leave(self) -> None:
        """Nobody sends any more: what came stays as it is. Never raises: there is nobody to tell."""
        with suppress(CanebenchError):
            self.write()
        with suppress(OSError):
            self.growing.close()

    def discard(self) -> None:
        """It is not wanted."""
        self._waiting.clear()
        with self._writing, suppress(OSError):
            self.growing.discard()


def _no_room(error: OSError) -> CanebenchError:
    return CanebenchError(
        f"The recording cannot be written any more ({error.strerror}). What came before is kept: make room, "
        "then measure it under Recordings that were not finished."
    )
