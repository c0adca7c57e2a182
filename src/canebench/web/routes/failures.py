"""When a page cannot be shown: a sentence, and where to go on."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse

from canebench.base.errors import CanebenchError, NotFoundError
from canebench.bench.acts.ledger import LedgerError, LedgerHeldError
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_LOG: Final = logging.getLogger(__name__)
_TYPED: Final = "Go back to what you typed, and send it again."


@dataclass(frozen=True, slots=True, kw_only=True)
class FailurePage:
    """What went wrong, in a sentence."""

    template: ClassVar[str] = "failure.html"
    room: ClassVar[str] = ""
    title: str
    said: str


async def on_ours(request: Request, error: Exception) -> Response:
    """An error that says in words what is amiss."""
    if not isinstance(error, CanebenchError):
        raise error
    title = "Not here" if isinstance(error, NotFoundError) else "That does not work"
    said = (
        f"{error} {_TYPED}" if isinstance(error, LedgerHeldError) and request.method == "POST" else str(error)
    )
    page = FailurePage(title=title, said=said)
    # A ledger that could not be read is not asked for anything more, or nothing would be said at all.
    return show(request, page, status=error.http_status, reads=not isinstance(error, LedgerError))


async def on_http(request: Request, error: Exception) -> Response:
    """An address or a method that there is none of."""
    if not isinstance(error, HTTPException):
        raise error
    said = {
        404: "There is no such page on this bench.",
        405: "This address does not take that kind of request.",
    }.get(error.status_code, str(error.detail))
    return show(request, FailurePage(title="Not here", said=said), status=error.status_code)


async def on_any(request: Request, error: Exception) -> Response:
    """A fault of ours: nothing was half done, since every act is all or nothing."""
    _LOG.error("%s %s failed", request.method, request.url.path, exc_info=error)
    return PlainTextResponse(
        "Something went wrong in the bench itself; nothing was half done. What happened stands in the "
        "terminal that runs canebench serve.\n",
        status_code=500,
    )
