"""The WebSocket of a microphone: frames in, estimates out, a recording at the end.

Guarded by `tests/web/test_live.py`.
"""

from __future__ import annotations

import json
from asyncio import get_running_loop
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from starlette.websockets import WebSocketDisconnect

from canebench.base.errors import CanebenchError, InputError
from canebench.base.scales import DEFAULT_SCALE
from canebench.bench.views.live.listeners import StreamWanted
from canebench.web.context import context_of
from canebench.web.forms.fitting_query import request_from
from canebench.web.forms.forms import Form
from canebench.web.live.streams import Ending, Stream, ending_said

if TYPE_CHECKING:
    from starlette.websockets import WebSocket

_WRONG: Final = 4400
_MOST_STREAMS: Final = 40


async def live(socket: WebSocket) -> None:
    """One take by microphone."""
    await socket.accept()
    try:
        stream = await _begun(socket)
    except CanebenchError as error:
        await _refuse(socket, error)
        return
    stream.start(partial(_tell, socket))
    try:
        how = await _receive(socket, stream)
        if how is not Ending.GONE:
            await _tell(socket, await stream.end(how))
            await _close(socket, 1000)
    except CanebenchError as error:
        await _refuse(socket, error)
    finally:
        stream.close()


async def _begun(socket: WebSocket) -> Stream:
    given = socket.query_params
    request = request_from({name: given[name] for name in ("scale", "reference") if name in given})
    wanted = StreamWanted(
        rate_hz=_rate(given.get("rate", "")),
        scale=request.scale or DEFAULT_SCALE,
        reference=request.reference if isinstance(request.reference, float) else "auto",
        check="check" in given,
        tone_hz=_tone(given.get("tone", "")),
    )
    workers, begin = socket.app.state.workers, context_of(socket).recordings.begin
    if workers.streams >= _MOST_STREAMS:
        allowed = f"{_MOST_STREAMS} at once are listened to; end another first"
        raise InputError(field="stream", given="one more", allowed=allowed)
    # Another may begin while the disk is looked at: the place is taken first.
    pool = workers.for_next_stream()
    try:
        growing = await get_running_loop().run_in_executor(
            workers.disk, partial(begin, rate_hz=wanted.rate_hz)
        )
    except BaseException:
        workers.streams -= 1
        raise
    return Stream(workers, growing, wanted, pool)


def _rate(given: str) -> int:
    if not given.isascii() or not given.isdigit() or len(given) > 6:
        raise InputError(field="sample rate", given=repr(given), allowed="a whole number of hertz is needed")
    return int(given)


def _tone(given: str) -> float | None:
    found = Form(texts={"tone": given.strip()}, files={}, lists={}).number("tone", "tone of known pitch")
    if found is not None and not 50 <= found <= 5_000:
        allowed = "from 50 to 5,000 Hz is taken"
        raise InputError(field="tone of known pitch", given=f"{given} Hz", allowed=allowed)
    return found


async def _receive(socket: WebSocket, stream: Stream) -> Ending:
    """Frames until the page ends the stream, is gone, or the take is full."""
    while not stream.full:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            return Ending.GONE
        if message.get("bytes") is None:
            return ending_said(message.get("text"))
        stream.put(message["bytes"])
    return Ending.FULL


async def _refuse(socket: WebSocket, error: CanebenchError) -> None:
    await _tell(socket, {"wrong": str(error)})
    await _close(socket, _WRONG)


async def _tell(socket: WebSocket, told: dict[str, Any]) -> None:
    try:
        await socket.send_text(json.dumps(told))
    except (WebSocketDisconnect, RuntimeError):
        # The page has gone between one estimate and the next; the receiver notices.
        return


async def _close(socket: WebSocket, code: int) -> None:
    try:
        await socket.close(code)
    except (WebSocketDisconnect, RuntimeError):
        return
