"""Rows out and in, backups, and whether this bench is in order.

Guarded by `tests/web/test_exchange.py` and `tests/web/test_exchange_page.py`.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Final

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, Response

from canebench.base.errors import CanebenchError, InputError
from canebench.bench.acts.upkeep.check_up import Found, check_up
from canebench.bench.acts.upkeep.column_words import COLUMN_WORDS, NEEDED
from canebench.bench.acts.upkeep.exchange import (
    FORMS,
    TABLES,
    ImportChoices,
    Imported,
    TableFound,
    bring_in,
    export,
    look_over,
    refused,
    sheets_of,
)
from canebench.bench.acts.upkeep.safekeeping import back_up, check, snapshots_of
from canebench.web.context import context_of
from canebench.web.forms.forms import FieldProblem, Form
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from canebench.bench.acts.ledger import Ledger
    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.pending_uploads import PendingUploads
    from canebench.web.live.workers import Workers

_TYPES: Final = {
    "csv": "text/csv",
    "json": "application/json",
    "parquet": "application/vnd.apache.parquet",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
_MOST_SHOWN: Final = 30
#: Files of text are small up to so many bytes; what is packed may be a hundred times as much.
_SMALL: Final = {".csv": 100_000, ".json": 100_000}
_SMALL_PACKED: Final = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """A file that waits, what it would bring, and what was chosen for that: shown again as it was chosen.

    `table` is the one that it holds rows of, "" for several; `refused` where it cannot come in as it is.
    """

    waiting: str = ""
    file: str = ""
    table: str = ""
    found: list[TableFound] = field(default_factory=list)
    refused: bool = False
    chosen: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangePage:
    """Tables and forms; what an import would bring; backups; what was found in order."""

    template: ClassVar[str] = "exchange.html"
    room: ClassVar[str] = "Files"
    title: str = "Files and backup"
    tables: tuple[str, ...]
    forms: tuple[str, ...]
    snapshots: list[str]
    preview: Preview
    words: Mapping[str, Mapping[str, str]]
    needed: Mapping[str, list[str]]
    checked: list[Found]
    verified: tuple[str, list[str]] | None
    problem: FieldProblem | None
    most: int = _MOST_SHOWN


async def exchange(request: Request) -> Response:
    """The page."""
    return await _exchange(request, None, 200)


async def in_order(request: Request) -> Response:
    """The page, with everything looked at."""
    context = context_of(request)
    return await _exchange(request, None, 200, checked=await run_in_threadpool(check_up, context.given_url))


async def _exchange(
    request: Request,
    problem: FieldProblem | None,
    status: int,
    *,
    checked: list[Found] | None = None,
    verified: tuple[str, list[str]] | None = None,
    preview: Preview | None = None,
) -> Response:
    kept = await run_in_threadpool(snapshots_of, context_of(request).ledger)
    page = ExchangePage(
        tables=tuple(TABLES),
        forms=FORMS,
        snapshots=[str(path) for path in kept],
        preview=preview or Preview(),
        words=COLUMN_WORDS,
        needed=NEEDED,
        checked=checked or [],
        verified=verified,
        problem=problem,
    )
    return show(request, page, status=status)


async def download(request: Request) -> Response:
    """A table, or all that fits in one file."""
    form = request.query_params.get("form", "csv")
    table = request.query_params.get("table") or None
    if table is None and form not in ("json", "xlsx"):
        raise InputError(
            field="form", given=form, allowed="everything in one file is JSON or XLSX", nearest="one table"
        )
    folder = Path(tempfile.mkdtemp(prefix="canebench-"))
    name = f"{table or 'canebench'}.{form}"
    try:
        await run_in_threadpool(export, context_of(request).ledger, folder / name, table=table, form=form)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(
        folder / name,
        media_type=_TYPES[form],
        filename=name,
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )


async def preview(request: Request) -> Response:
    """Look a file over; nothing is written."""
    pending_uploads: PendingUploads = request.app.state.pending_uploads
    seen: list[Preview] = []

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        del context, ledger
        upload = form.files.get("file")
        token = form.text("waiting")
        if upload is not None:
            token = pending_uploads.keep(upload.filename or "", upload.file)
        seen.append(_preview_of(request, pending_uploads.path(token or ""), form))
        return ""

    done = await answer(request, act, form="import", again=_exchange)
    return await _exchange(request, None, 200, preview=seen[0]) if seen else done


def _is_small(path: Path) -> bool:
    """Whether it is read as quickly here as another process begins."""
    return path.stat().st_size <= _SMALL.get(path.suffix.lower(), _SMALL_PACKED)


def _preview_of(request: Request, path: Path, form: Form) -> Preview:
    ledger = context_of(request).ledger
    if _is_small(path):
        return _looked_over(ledger, path, form)
    workers: Workers = request.app.state.workers
    return workers.aside(_looked_over, ledger, path, replace(form, files={}))


def _looked_over(ledger: Ledger, path: Path, form: Form) -> Preview:
    sheets = sheets_of(path, table=form.text("table"))
    choices = _choices(form, list(sheets))
    found = look_over(ledger, sheets, choices)
    return Preview(
        waiting=path.parent.name,
        file=path.name,
        table=next(iter(sheets)) if len(sheets) == 1 else "",
        found=list(found.values()),
        refused=refused(found, choices),
        chosen=form.texts,
    )


async def commit(request: Request) -> Response:
    """Bring a file that was looked over in."""
    pending_uploads: PendingUploads = request.app.state.pending_uploads

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        path = pending_uploads.path(form.text("waiting") or "")
        given = (context.ledger, path, replace(form, files={}), context.who)
        workers: Workers = request.app.state.workers
        done = _brought_in(*given) if _is_small(path) else workers.aside(_brought_in, *given)
        if done.act_id is not None:
            ledger.acts.append(done.act_id)
        pending_uploads.drop(path.parent.name)
        return "/exchange"

    return await answer(request, act, form="import", again=_refused)


def _brought_in(ledger: Ledger, path: Path, form: Form, who: str) -> Imported:
    sheets = sheets_of(path, table=form.text("table"))
    choices = _choices(form, list(sheets))
    return bring_in(ledger, sheets, choices, who=who, said=f"brought in {path.name}")


async def _refused(request: Request, problem: FieldProblem, status: int) -> Response:
    """The page with the file looked over again, where it still waits and can be."""
    pending_uploads: PendingUploads = request.app.state.pending_uploads
    form = Form(texts=problem.given, files={}, lists={})
    try:
        path = pending_uploads.path(form.text("waiting") or "")
        preview = await run_in_threadpool(_preview_of, request, path, form)
    except CanebenchError:
        preview = None
    return await _exchange(request, problem, status, preview=preview)


def _choices(form: Form, tables: list[str]) -> ImportChoices:
    """Headers are mapped where the form says so: `map-HEADER` holds a column, or "-" to leave it out."""
    mapping = {
        name.removeprefix("map-"): None if value == "-" else value
        for name, value in form.texts.items()
        if name.startswith("map-") and value
    }
    return ImportChoices(
        ids="kept" if form.ticked("keep_ids") else "renumbered",
        duplicates="refuse" if form.ticked("refuse_duplicates") else "skip",
        mapping={tables[0]: mapping} if mapping and len(tables) == 1 else {},
    )


async def make_backup(request: Request) -> Response:
    """Everything into a new folder of this machine."""
    made: list[tuple[str, list[str]]] = []

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        del ledger
        folder = Path(form.needed("folder", "folder")).expanduser()
        if not folder.is_absolute():
            raise InputError(
                field="folder",
                given=str(folder),
                allowed="a whole path is needed",
                nearest="/media/stick/backup",
            )
        done = back_up(context.given_url, folder, who=context.who)
        made.append((str(done.folder), done.amiss))
        return ""

    done = await answer(request, act, form="backup", again=_exchange)
    return await _exchange(request, None, 200, verified=made[0]) if made else done


async def verify(request: Request) -> Response:
    """Is a backup whole."""
    seen: list[tuple[str, list[str]]] = []

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        del context, ledger
        folder = Path(form.needed("folder", "folder")).expanduser()
        seen.append((str(folder), check(folder)))
        return ""

    done = await answer(request, act, form="verify", again=_exchange)
    return await _exchange(request, None, 200, verified=seen[0]) if seen else done
