"""Reeds: the list, a lot taken in, labels; and one reed with everything that is done to it.

Guarded by `tests/web/test_reeds.py`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool

from canebench.base.errors import InputError
from canebench.bench.acts.reeds.people import player_names
from canebench.bench.acts.reeds.reed_days import (
    TypedStrength,
    ease_reed,
    log_strength,
    play_reed,
    rest_reed,
)
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.browse_reed import (
    ReedPage,
    chart_of,
    number_in_use,
    reed_page,
    remark_reed,
    remove_reed,
)
from canebench.bench.views.browse_reeds import (
    ORDERS,
    PAGE,
    Asked,
    LotLine,
    ReedList,
    list_page,
    lot_lines,
    numbers_asked,
)
from canebench.bench.views.drawing.draw_fitting import Drawn, draw_take
from canebench.bench.views.paper.print_card import print_card
from canebench.bench.views.paper.print_labels import print_labels
from canebench.care.cautions import Caution, Occasion, cautions_for
from canebench.reeds.strength import BY_MOUTH_KPA, MOMENTS
from canebench.web.context import context_of
from canebench.web.forms.post_redirect import answer
from canebench.web.pages.printed import printed
from canebench.web.pages.render import show
from canebench.web.routes.shell import page_number

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from canebench.web.context import BenchContext, NotedLedger
    from canebench.web.forms.forms import FieldProblem, Form

_FILTERS: Final = ("state", "lot", "player", "search", "order")
_LATE: Final = {"dropout": "drop-out"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedsPage:
    """A page of reeds."""

    template: ClassVar[str] = "reeds.html"
    room: ClassVar[str] = "Reeds"
    title: str = "Reeds"
    found: ReedList
    lots: list[LotLine]
    asked: Asked
    pages: int
    filters: dict[str, str]
    orders: tuple[str, ...]
    problem: FieldProblem | None

    def query(self, **changed: str | int | None) -> str:
        """The address of this list with something changed."""
        told = {**self.filters, **{name: str(value) for name, value in changed.items() if value}}
        told = {name: value for name, value in told.items() if changed.get(name, value) is not None}
        return "/reeds" + (f"?{urlencode(told)}" if told else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class OneReedPage:
    """One reed."""

    template: ClassVar[str] = "reed.html"
    room: ClassVar[str] = "Reeds"
    title: str
    one: ReedPage
    drawn: Drawn | None
    chart: str
    players: list[str]
    moments: tuple[tuple[str, str], ...]
    by_mouth: tuple[str, ...]
    cautions: tuple[Caution, ...]
    to_mind: dict[str, tuple[Caution, ...]]
    problem: FieldProblem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedShown:
    """A reed that something is done to."""

    id: int
    number: str


async def reeds(request: Request) -> Response:
    """The list."""
    return await _reeds(request, None, 200)


async def _reeds(request: Request, problem: FieldProblem | None, status: int) -> Response:
    ledger = context_of(request).ledger
    filters, asked = _asked(request)

    def read() -> ReedsPage:
        found = list_page(ledger, asked)
        return ReedsPage(
            found=found,
            lots=lot_lines(ledger),
            asked=asked,
            pages=max(1, -(-found.total // PAGE)),
            filters=filters,
            orders=tuple(ORDERS),
            problem=problem,
        )

    return show(request, await run_in_threadpool(read), status=status)


def _asked(request: Request) -> tuple[dict[str, str], Asked]:
    """What the address asks for, but for the page, and with it."""
    told = {name: request.query_params.get(name, "").strip() for name in _FILTERS}
    filters = {name: value for name, value in told.items() if value}
    return filters, Asked(**{**filters, "page": page_number(request)})  # type: ignore[arg-type]


async def take_in(request: Request) -> Response:
    """A lot: one line for thirty reeds."""

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        name = form.needed("name", "name of the lot")
        count = form.count("count", "how many")
        if count is None:
            raise InputError(
                field="how many", given="nothing", allowed="a whole number is needed", nearest="30"
            )
        told = {key: form.text(key) for key in ("bought_on", "currency", "cane", "cut", "remarks")}
        first, price = form.count("first", "first number"), form.number("price", "price")
        take_in_lot(ledger, who=context.who, name=name, count=count, first=first, price=price, **told)
        return "/reeds?" + urlencode({"lot": name})

    return await answer(request, act, form="lot", again=_reeds)


async def reed(request: Request) -> Response:
    """One reed's whole story."""
    return await _reed(request, None, 200)


async def _reed(request: Request, problem: FieldProblem | None, status: int) -> Response:
    ledger = context_of(request).ledger

    def read() -> OneReedPage:
        one = reed_page(ledger, request.path_params["reed"])
        occasions = {
            "strength": Occasion.GRADE_STRENGTH,
            "ease": Occasion.PINCH,
            "play": Occasion.PLAY_ALONE,
            "mouth": Occasion.MOUTH_TEST,
        }
        due = {name: cautions_for(occasion) for name, occasion in occasions.items()}
        return OneReedPage(
            title=f"Reed {one.known.reed.number}",
            one=one,
            drawn=None if one.report is None else draw_take(one.report, title="The beam of its newest take"),
            chart=json.dumps(chart_of(one)),
            players=player_names(ledger),
            moments=tuple((moment, _LATE.get(moment, moment)) for moment in MOMENTS),
            by_mouth=tuple(BY_MOUTH_KPA),
            cautions=tuple(dict.fromkeys(one for each in due.values() for one in each)),
            to_mind=due,
            problem=problem,
        )

    return show(request, await run_in_threadpool(read), status=status)


async def reed_act(request: Request) -> Response:
    """Something done to a reed."""
    kind, reed_id = request.path_params["act"], request.path_params["reed"]
    if kind not in ACTS:
        raise InputError(field="act", given=repr(kind), allowed=f"one of {', '.join(ACTS)}")

    def act(context: BenchContext, ledger: NotedLedger, form: Form) -> str:
        number = number_in_use(ledger, reed_id)
        goal = ACTS[kind](ledger, ReedShown(id=reed_id, number=number), form, context.who)
        # From today's list one goes back to it; any other address would be one of somebody else's choosing.
        return goal or ("/" if form.text("back") == "today" else f"/reeds/{reed_id}")

    return await answer(request, act, form=kind, again=_reed)


def _strength(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> None:
    log_strength(
        ledger,
        reed.number,
        _pressures(form),
        who=who,
        player=form.text("player"),
        by_mouth=form.text("by_mouth"),
        than=form.text("than"),
        insist=form.ticked("insist"),
    )


def _pressures(form: Form) -> dict[str, str]:
    unit = form.text("unit") or "inH2O"
    return {m: f"{form.text(m)} {unit}" for m in MOMENTS if form.text(m)}


def _ease(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> None:
    how = form.text("how") or "pinch"
    insist = form.ticked("insist")
    ease_reed(ledger, reed.number, how=how, who=who, remarks=form.text("remarks"), insist=insist)


def _play(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> None:
    minutes = form.number("minutes", "minutes")
    if minutes is None:
        raise InputError(field="minutes", given="nothing", allowed="how long it was played is needed")
    told = {name: form.number(name, label) for name, label in _CONDITIONS}
    player, remarks = form.text("player"), form.text("remarks")
    after = TypedStrength(pressures=_pressures(form), by_mouth=form.text("by_mouth"), than=form.text("than"))
    insist = form.ticked("insist")
    play_reed(
        ledger,
        reed.number,
        minutes=minutes,
        who=who,
        player=player,
        after=after,
        insist=insist,
        remarks=remarks,
        **told,
    )


_CONDITIONS: Final = (("level_dba", "level"), ("room_degc", "temperature"), ("room_rh", "humidity"))


def _mouth(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> None:
    rest_reed(ledger, reed.number, player=form.needed("player", "player"), who=who)


def _move(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> None:
    move_reed(ledger, reed.number, to=form.needed("to", "state"), reason=form.text("reason") or "", who=who)


def _remark(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> None:
    read = {
        "remarks": form.text("read_remarks"),
        "player_id": form.count("read_player_id", "player"),
        "version": form.version(),
    }
    remark_reed(ledger, reed.id, form.text("remarks"), player=form.text("player"), read=read, who=who)


def _remove(ledger: NotedLedger, reed: ReedShown, form: Form, who: str) -> str:
    del form
    remove_reed(ledger, reed.id, who=who)
    return "/reeds"


#: What may be done to a reed from its page, by the last part of the address.
ACTS: Final[dict[str, Callable[[NotedLedger, ReedShown, Form, str], str | None]]] = {
    "strength": _strength,
    "ease": _ease,
    "play": _play,
    "mouth": _mouth,
    "move": _move,
    "remark": _remark,
    "remove": _remove,
}


async def card(request: Request) -> Response:
    """The setting card, A6."""
    ledger = context_of(request).ledger

    def made(path: Path) -> None:
        print_card(ledger, number_in_use(ledger, request.path_params["reed"]), path)

    return await printed(made, "card.pdf")


async def labels(request: Request) -> Response:
    """Sheets of labels for the reeds ticked, or for all that the address asks for where none is."""
    ledger = context_of(request).ledger
    ticked, (_, asked) = request.query_params.getlist("reed"), _asked(request)

    def made(path: Path) -> None:
        print_labels(ledger, path, numbers=ticked or numbers_asked(ledger, asked))

    return await printed(made, "labels.pdf")
