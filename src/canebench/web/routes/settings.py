"""What a band or workshop settles once: seen, and changed. Guarded by `tests/web/test_settings.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from starlette.concurrency import run_in_threadpool

from canebench.bench.acts.band import SETTLED, settle
from canebench.bench.views.home.settled import settled
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.views.home.settled import Settled
    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsPage:
    """What is settled, with the form that changes it."""

    template: ClassVar[str] = "settings.html"
    room: ClassVar[str] = ""
    title: str = "Settings"
    found: Settled
    problem: FieldProblem | None


async def settings(request: Request) -> Response:
    """Show it."""
    return await _settings(request, None, 200)


async def _settings(request: Request, problem: FieldProblem | None, status: int) -> Response:
    found = await run_in_threadpool(settled, context_of(request).ledger)
    return show(request, SettingsPage(found=found, problem=problem), status=status)


async def change_settings(request: Request) -> Response:
    """Settle what the form says, as read."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        told = {name: form.text(name) for name in SETTLED if name in form.texts}
        settle(ledger, told, who=context.who, version=form.count("version", "version"))
        return "/settings"

    return await answer(request, act, form="settings", again=_settings)
