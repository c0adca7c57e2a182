"""What was just done, and the way to take it back; it stands in the address, so that GET changes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import NotFoundError

if TYPE_CHECKING:
    from starlette.requests import Request

    from canebench.bench.acts.ledger import Ledger

#: The query parameter that names an act.
DID: Final = "did"
_MOST_DIGITS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One act, and whether it can be taken back from here."""

    act: int
    said: str
    can_undo: bool


def notices(request: Request, ledger: Ledger) -> list[Notice]:
    """The acts that the address names; one that is not there is passed over."""
    found = []
    for given in request.query_params.getlist(DID)[:3]:
        if not given.isascii() or not given.isdigit() or len(given) > _MOST_DIGITS:
            continue
        try:
            with ledger.reading() as reader:
                act = reader.act(int(given))
        except NotFoundError:
            continue
        can_undo = act.undone_by is None and act.kind != "undo"
        found.append(Notice(act=act.id, said=act.said, can_undo=can_undo))
    return found
