"""The WebSocket of a microphone: frames in, looks out, a recording at the end.

Guarded by `tests/web/test_live.py`.
"""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any, Final

from starlette.websockets import WebSocketDisconnect

from canebench.base.errors import CanebenchError, InputError
from canebench.base.scales import DEFAULT_SCALE
from canebench.web.aim import aim_from
from canebench.web.desk import desk_of
from canebench.web.streams import MOST_S, Stream

if TYPE_CHECKING:
    from starlette.websockets import WebSocket

_WRONG: Final = 4400


async def live(socket: WebSocket) -> None:
    """One take by microphone."""
    await socket.accept()
    try:
        stream = await _begun(socket)
    except CanebenchError as error:
        await socket.send_text(json.dumps({"wrong": str(error)}))
        await socket.close(_WRONG)
        return
    stopping = asyncio.Event()
    ticking = asyncio.create_task(_tick(socket, stream, stopping))
    whole = False
    try:
        whole = await _receive(socket, stream)
        stopping.set()
        await ticking
        if whole:
            await socket.send_text(json.dumps(await stream.finish()))
            await socket.close()
    except CanebenchError as error:
        stopping.set()
        await asyncio.gather(ticking, return_exceptions=True)
        await _tell(socket, {"wrong": str(error)})
    finally:
        stopping.set()
        ticking.cancel()
        try:
            await asyncio.gather(ticking, return_exceptions=True)
        finally:
            # Also where this very task is being cancelled.
            if not whole:
                stream.leave()
            stream.end()


async def _begun(socket: WebSocket) -> Stream:
    given = socket.query_params.get("rate", "")
    if not given.isascii() or not given.isdigit() or len(given) > 6:
        raise InputError(field="sample rate", given=repr(given), allowed="a whole number of hertz is needed")
    asked = {
        name: socket.query_params[name] for name in ("scale", "reference") if name in socket.query_params
    }
    wish = aim_from(asked).wish
    growing = desk_of(socket).recordings.begin(rate_hz=int(given))
    stream = Stream(socket.app.state.ears, growing, only_check="check" in socket.query_params)
    scale = wish.scale if wish is not None else DEFAULT_SCALE
    await stream.begin(scale, "auto" if wish is None or wish.reference_hz is None else wish.reference_hz)
    return stream


async def _receive(socket: WebSocket, stream: Stream) -> bool:
    """Frames until the page says stop (True) or is gone (False)."""
    most = MOST_S * stream.rate_hz
    while stream.growing.frames < most:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            return False
        if message.get("bytes") is not None:
            stream.put(message["bytes"])
        elif message.get("text"):
            return bool(message["text"] == '{"stop":true}')
    return True


async def _tick(socket: WebSocket, stream: Stream, stopping: asyncio.Event) -> None:
    while not stopping.is_set():
        due = asyncio.get_running_loop().time() + stream.tick_s
        told = await stream.look()
        if told is not None:
            await _tell(socket, told)
        await stream.write()
        left = due - asyncio.get_running_loop().time()
        if left > 0:
            try:
                await asyncio.wait_for(stopping.wait(), left)
            except TimeoutError:
                continue


async def _tell(socket: WebSocket, told: dict[str, Any]) -> None:
    try:
        await socket.send_text(json.dumps(told))
    except (WebSocketDisconnect, RuntimeError):
        # The page has gone between one look and the next; the receiver notices.
        return
