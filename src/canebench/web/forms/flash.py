"""What was just done, and the way to take it back; it stands in the address, so that GET changes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from urllib.parse import urlencode

from canebench.base.errors import NotFoundError
from canebench.bench.acts.reeds.spells import place_for_take

if TYPE_CHECKING:
    from starlette.requests import Request

    from canebench.bench.acts.ledger import Ledger
    from canebench.bench.acts.reeds.spells import PlaceForTake

#: The query parameter that names an act.
DID: Final = "did"
_MOST_DIGITS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One act, and whether it can be taken back from here.

    `take` is where a take of the reed is made that was played; "" for other acts.
    """

    act: int
    said: str
    can_undo: bool
    take: str


def notices(request: Request, ledger: Ledger) -> list[Notice]:
    """The acts that the address names; one that is not there is passed over."""
    found = []
    for given in request.query_params.getlist(DID)[:3]:
        if not given.isascii() or not given.isdigit() or len(given) > _MOST_DIGITS:
            continue
        try:
            with ledger.reading() as reader:
                act = reader.act(int(given))
                place = place_for_take(reader, act)
        except NotFoundError:
            continue
        can_undo = act.undone_by is None and act.kind != "undo"
        found.append(Notice(act=act.id, said=act.said, can_undo=can_undo, take=_take_at(place)))
    return found


def _take_at(place: PlaceForTake | None) -> str:
    """The fitting of the reed in its last chanter; where it has none, the form that asks for one."""
    if place is None:
        return ""
    if place.chanter_id is None:
        return "/?" + urlencode({"reed": place.number})
    return f"/fit/{place.reed_id}/{place.chanter_id}"
