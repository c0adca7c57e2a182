"""What a lot was worth. Guarded by `tests/web/test_lot_worth.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import InputError, NotFoundError
from canebench.base.parsing import count_from
from canebench.bench.acts.reeds.stock import list_lots
from canebench.bench.views.ahead.lot_chart import draw_lot, drawn_said
from canebench.bench.views.ahead.lot_words import facts_said
from canebench.bench.views.ahead.lot_worth import POST_DAYS, LotWorth, lot_worth
from canebench.bench.views.paper.print_lot import print_lot
from canebench.web.context import context_of
from canebench.web.pages.printed import printed
from canebench.web.pages.render import show

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.bench.acts.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class LotWorthPage:
    """A lot's figures, and what was asked beside them as it was typed; `problem` is why it will not do.

    `report` is where the same is printed; its reeds are drawn for a wide place and for a narrow one, where
    any was played.
    """

    template: ClassVar[str] = "lot-worth.html"
    room: ClassVar[str] = "Reeds"
    title: str
    found: LotWorth
    others: list[str]
    against: str
    need: str
    by: str
    post: str
    problem: str
    facts: str
    report: str
    wide: str | None
    narrow: str | None
    drawn: str


async def worth(request: Request) -> Response:
    """One lot; `against`, `need`, `by` and `post` of the address say what else is asked."""
    ledger, lot_id = context_of(request).ledger, int(request.path_params["lot"])
    given = _given(request)

    def read() -> tuple[LotWorthPage, int]:
        problem, status = "", 200
        try:
            found = _asked(ledger, lot_id, given)
        except (InputError, NotFoundError) as error:
            # The lot itself is to be read whatever was typed beside it; of no lot this fails too.
            found, problem, status = lot_worth(ledger, lot_id), str(error), error.http_status
        lot = found.worth.lot
        page = LotWorthPage(
            title=f"What the lot {lot.name} was worth",
            found=found,
            others=[one.name for one in list_lots(ledger) if one.id != lot.id],
            against=given["against"],
            need=given["need"],
            by=given["by"],
            post=given["post"] or f"{POST_DAYS}",
            problem=problem,
            facts=facts_said(lot),
            report=_address(lot.id, {} if problem else given),
            wide=draw_lot(found.worth),
            narrow=draw_lot(found.worth, narrow=True),
            drawn=drawn_said(found.worth),
        )
        return page, status

    page, status = await run_in_threadpool(read)
    return show(request, page, status=status)


async def report(request: Request) -> Response:
    """The same to print; what was asked wrongly is an error here."""
    ledger, lot_id = context_of(request).ledger, int(request.path_params["lot"])
    given = _given(request)
    return await printed(lambda path: print_lot(ledger, _asked(ledger, lot_id, given), path), "lot.pdf")


def _given(request: Request) -> dict[str, str]:
    asked = ("against", "need", "by", "post")
    return {name: request.query_params.get(name, "").strip()[:200] for name in asked}


def _asked(ledger: Ledger, lot_id: int, given: dict[str, str]) -> LotWorth:
    need, post = given["need"], given["post"]
    return lot_worth(
        ledger,
        lot_id,
        against=given["against"] or None,
        needed=count_from(need, "settled reeds needed") if need else None,
        by=given["by"] or None,
        post_days=count_from(post, "days of the post") if post else POST_DAYS,
    )


def _address(lot_id: int, given: dict[str, str]) -> str:
    query = urlencode({name: value for name, value in given.items() if value})
    return f"/lots/{lot_id}/worth.pdf" + (f"?{query}" if query else "")
