"""Takes while they are measured: each is given up or kept, never both, and whoever asks is told which.

Guarded by `tests/web/test_giving_up.py` and `tests/browser/test_measuring.py`.
"""

from __future__ import annotations

import asyncio
import re
from collections import OrderedDict
from threading import Lock
from typing import TYPE_CHECKING, Final

from canebench.base.errors import CanebenchError

if TYPE_CHECKING:
    from starlette.requests import Request

#: So many attempts are remembered.
_MOST: Final = 64
_NAME: Final = re.compile(r"[0-9a-f-]{36}")
_LOOKED_S: Final = 0.2


class GivenUpError(CanebenchError):
    """A take that nobody waits for any more."""

    code = "given-up"
    http_status = 409

    def __init__(self) -> None:
        super().__init__("It was given up: nothing of it was kept.")


class Measuring:
    """One take while it is measured."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._given_up = False
        self.kept = False

    def give_up(self) -> bool:
        """Nobody wants it any more; whether nothing of it is kept."""
        with self._lock:
            self._given_up = not self.kept
            return self._given_up

    def keep(self) -> None:
        """From here on it is kept; a `GivenUpError` where it was given up before."""
        with self._lock:
            if self._given_up:
                raise GivenUpError
            self.kept = True


class Measurings:
    """Those of a server by the names that its pages gave them, the newest few."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._known: OrderedDict[str, Measuring] = OrderedDict()

    def named(self, name: str | None) -> Measuring:
        """That of a name, new or known: it may be given up before its file comes. A new one for no name."""
        if name is None or not _NAME.fullmatch(name):
            return Measuring()
        with self._lock:
            found = self._known.setdefault(name, Measuring())
            while len(self._known) > _MOST:
                self._known.popitem(last=False)
            return found


async def give_up_where_gone(request: Request, measuring: Measuring) -> None:
    """Give a take up once the browser that sent it has gone: Stop in a browser without scripts does that.

    To be begun when the whole form has come: it takes what comes from the browser.
    """
    while not await request.is_disconnected():
        await asyncio.sleep(_LOOKED_S)
    measuring.give_up()
