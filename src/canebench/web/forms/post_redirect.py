"""How a form is answered: do the act and go on to a page that names it, or show the same page with why not.

Guarded by `tests/web/test_forms.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from canebench.base.errors import CanebenchError, DoubtError, UnlessInsistedError
from canebench.bench.acts.ledger import LedgerHeldError, StaleEditError
from canebench.bench.acts.near_names import NearNameError
from canebench.web.context import context_of
from canebench.web.forms.flash import DID
from canebench.web.forms.forms import FieldProblem, Form, read_form

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.web.context import BenchContext, NotedLedger


async def answer(
    request: Request,
    act: Callable[[BenchContext, NotedLedger, Form], str],
    *,
    form: str,
    again: Callable[[Request, FieldProblem, int], Awaitable[Response]],
) -> Response:
    """Read the form and do the act.

    `act` returns the path to go on to; `again` shows the page that holds the form named `form`, with the
    problem and the error's own status.
    """
    context = context_of(request)
    ledger = context.noted()
    given = Form(texts={}, files={}, lists={})
    try:
        given = await read_form(request)
        if given.refused is not None:
            raise given.refused
        goal = await run_in_threadpool(act, context, ledger, given)
    except LedgerHeldError:
        # The page that holds the form would wait for the ledger as long again.
        raise
    except CanebenchError as error:
        problem = FieldProblem(
            form=form,
            said=_said(error),
            given=_given(error, given),
            asks=isinstance(error, DoubtError),
            insist=isinstance(error, UnlessInsistedError),
            stale=error if isinstance(error, StaleEditError) else None,
        )
        return await again(request, problem, error.http_status)
    finally:
        for file in given.files.values():
            await file.close()
    return go_on(goal, ledger.acts)


def _said(error: CanebenchError) -> str:
    if isinstance(error, NearNameError) and error.offered:
        return f"{error} {error.meant} stands in the form now."
    return str(error)


def _given(error: CanebenchError, form: Form) -> Mapping[str, str]:
    """What was typed, to be shown again; in the place of a near name the one that there is."""
    if not isinstance(error, NearNameError) or not error.offered:
        return form.texts
    return {name: error.meant if text == error.typed else text for name, text in form.texts.items()}


def go_on(goal: str, acts: list[int]) -> Response:
    """A redirect that names the acts just done."""
    query = urlencode([(DID, act) for act in acts[-3:]])
    joined = f"{goal}{'&' if '?' in goal else '?'}{query}" if query else goal
    return RedirectResponse(joined, status_code=303)
