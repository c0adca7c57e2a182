"""Lots: a box begun, and its reeds graded on one sheet, row by row as a script sends them or all by one form.

Guarded by `tests/web/test_lots.py` and `tests/browser/test_grading.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from canebench.base.errors import CanebenchError, InputError, UnlessInsistedError
from canebench.base.pressure import PressureUnit
from canebench.bench.acts.reeds.grading.grade_rows import ChangedSinceError, Graded, grade_rows
from canebench.bench.views.grading.grading_sheet import ROWS, GradingSheet, grading_sheet, unit_named
from canebench.bench.views.grading.lots_begun import LotsBegun, begin_lot, lots_begun
from canebench.care.cautions import Caution, Hazard, Occasion, cautions_for
from canebench.reeds.inspection import MARKS
from canebench.reeds.strength import BY_MOUTH_KPA
from canebench.web.context import context_of
from canebench.web.forms.forms import FieldProblem, Form, read_form
from canebench.web.forms.post_redirect import answer, go_on
from canebench.web.forms.sheet_rows import FIELDS, read_text, typed_rows
from canebench.web.pages.render import show
from canebench.web.routes.shell import page_number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.acts.reeds.grading.grade_rows import RefusedRow, TypedRow
    from canebench.bench.acts.reeds.grading.graded_rows import RowContent
    from canebench.bench.views.grading.grading_sheet import SheetRow
    from canebench.web.context import BenchContext, NotedLedger

_BOX: Final = "20"
#: What is said over every sheet; the rest of what is due folds away there.
_SHOWN: Final = (Hazard.BLADES, Hazard.MOUTHS, Hazard.BLOWING)
_UNITS: Final = (
    (PressureUnit.INH2O, "inches of water"),
    (PressureUnit.MBAR, "mbar"),
    (PressureUnit.KPA, "kPa"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LotsPage:
    """Lots to grade, and a box to begin."""

    template: ClassVar[str] = "lots.html"
    room: ClassVar[str] = "Reeds"
    title: str = "Grade a box of reeds"
    found: LotsBegun
    usual: str = _BOX
    problem: FieldProblem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRow:
    """A row as it is shown: what is kept, or what was typed and will not do, and then why."""

    row: SheetRow
    content: RowContent
    read: str
    why: str = ""
    field: str = ""
    insist: bool = False
    stale: bool = False
    aside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LotPage:
    """A lot's grading sheet."""

    template: ClassVar[str] = "lot.html"
    room: ClassVar[str] = "Reeds"
    title: str
    sheet: GradingSheet
    rows: list[ShownRow]
    cautions: tuple[Caution, ...]
    also: tuple[Caution, ...]
    player: str
    number: int
    units: tuple[tuple[PressureUnit, str], ...] = _UNITS
    marks: tuple[str, ...] = MARKS
    by_mouth: tuple[str, ...] = tuple(BY_MOUTH_KPA)
    problem: FieldProblem | None = field(default=None)

    @property
    def pages(self) -> int:
        """How many pages the lot fills."""
        return max(1, -(-self.sheet.total // ROWS))

    def address(self, page: int | None = None) -> str:
        """Where this sheet is, its gauge and player with it."""
        told: dict[str, str] = {"unit": self.sheet.unit.value}
        told |= {"player": self.player} if self.player else {}
        told |= {"page": str(page or self.number)} if (page or self.number) > 1 else {}
        return f"/lots/{self.sheet.lot.id}?{urlencode(told)}"


async def lots(request: Request) -> Response:
    """The newest lots, and a box to begin."""
    return await _lots(request, None, 200)


async def _lots(request: Request, problem: FieldProblem | None, status: int) -> Response:
    found = await run_in_threadpool(lots_begun, context_of(request).ledger)
    return show(request, LotsPage(found=found, problem=problem), status=status)


async def begin(request: Request) -> Response:
    """A box of reeds: the lot and its numbers in one step, then its sheet."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        name = form.needed("name", "name of the lot")
        count, first = form.count("count", "how many reeds"), form.count("first", "first number")
        if count is None:
            raise InputError(field="how many reeds", given="nothing", allowed="it is needed", nearest=_BOX)
        return f"/lots/{begin_lot(ledger, name=name, count=count, first=first, who=context.who)}"

    return await answer(request, act, form="box", again=_lots)


async def lot(request: Request) -> Response:
    """A lot's sheet, as a page or, where a script asks, as JSON."""
    page = await run_in_threadpool(_page, request, {}, {})
    return _as_json(page, "") if _wants_json(request) else show(request, page)


async def grade(request: Request) -> Response:
    """Rows of the sheet: those that will do are written down, the others shown again with why not."""
    context = context_of(request)
    ledger, lot_id = context.noted(), request.path_params["lot"]
    form = await read_form(request, most_fields=FIELDS * ROWS)
    if form.refused is not None:
        raise form.refused
    unit = unit_named(form.text("unit") or PressureUnit.INH2O)
    typed = typed_rows(form)

    def act() -> Graded:
        player = form.text("player")
        return grade_rows(ledger, lot_id, typed, unit=unit, player=player, who=context.who)

    graded = await run_in_threadpool(act)
    refused = {one.reed_id: one for one in graded.refused}
    rows = {one.reed_id: one for one in typed if one.reed_id in refused}
    if not refused and not _wants_json(request):
        told = {"unit": unit.value, "player": form.text("player"), "page": request.query_params.get("page")}
        query = urlencode({name: value for name, value in told.items() if value})
        return go_on(f"/lots/{lot_id}?{query}", ledger.acts)
    page = await run_in_threadpool(_page, request, refused, rows, unit, form.text("player"))
    status = _status(graded.refused)
    if _wants_json(request):
        return _as_json(page, graded.said, status)
    return show(request, page, status=status)


def _status(refused: tuple[RefusedRow, ...]) -> int:
    """409 where a row was changed meanwhile, 422 where one will not do, 200 where all were taken."""
    stale = any(isinstance(one.error, ChangedSinceError) for one in refused)
    return ChangedSinceError.http_status if stale else InputError.http_status if refused else 200


def _page(
    request: Request,
    refused: Mapping[int, RefusedRow],
    typed: Mapping[int, TypedRow],
    unit: PressureUnit | None = None,
    player: str | None = None,
) -> LotPage:
    given, asked = request.query_params.get("unit"), page_number(request)
    chosen = unit if unit is not None or not given else unit_named(given)
    sheet = grading_sheet(context_of(request).ledger, request.path_params["lot"], unit=chosen, page=asked)
    name = player or request.query_params.get("player", "")
    due = tuple(dict.fromkeys((*cautions_for(Occasion.INSPECT), *cautions_for(Occasion.GRADE_STRENGTH))))
    return LotPage(
        title=f"Grade the lot {sheet.lot.name}",
        sheet=sheet,
        rows=[_shown(row, refused.get(row.row.reed.id), typed.get(row.row.reed.id)) for row in sheet.rows],
        cautions=tuple(one for one in due if one.hazard in _SHOWN),
        also=tuple(one for one in due if one.hazard not in _SHOWN),
        player=name if name in sheet.players else "",
        number=asked,
    )


def _shown(row: SheetRow, refused: RefusedRow | None, typed: TypedRow | None) -> ShownRow:
    read = read_text(row.row.read)
    if refused is None or typed is None:
        return ShownRow(row=row, content=row.row.read.content, read=read)
    error: CanebenchError = refused.error
    return ShownRow(
        row=row,
        content=typed.content,
        read=read,
        why=str(error),
        field=refused.field,
        insist=isinstance(error, UnlessInsistedError),
        stale=isinstance(error, ChangedSinceError),
        aside=typed.aside,
    )


def _wants_json(request: Request) -> bool:
    return request.headers.get("accept", "").startswith("application/json")


def _as_json(page: LotPage, said: str, status: int = 200) -> JSONResponse:
    """The sheet for its own script: what is kept of each row, and why one was refused."""
    last = page.sheet.last
    rows = {
        one.row.row.reed.id: {
            "read": one.read,
            "place": one.row.place,
            "minds": one.row.minds,
            "aside": one.row.row.may_go_aside,
            "why": one.why,
            "field": one.field,
            "insist": one.insist,
            "stale": one.stale,
        }
        for one in page.rows
    }
    told = {
        "said": said,
        "rows": rows,
        "order": ", ".join(page.sheet.order),
        "graded": len(page.sheet.order),
        "last": None if last is None else {"act": last.act, "said": last.said},
    }
    return JSONResponse(told, status_code=status)
