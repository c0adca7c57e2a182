"""Room and warmth in which a take was played: written down later, and looked through.

Reed and air change with both, so two takes are best compared where they are alike. Guarded by
`tests/doors/test_conditions_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, NotFoundError
from canebench.store.records import ChanterRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value

_CONDITIONS: Final = ("room_degc", "room_rh", "warm_min")


def note_conditions(
    ledger: Ledger,
    take_id: int,
    *,
    who: str,
    room_degc: float | None = None,
    room_rh: float | None = None,
    warm_min: float | None = None,
) -> TakeRecord:
    """Write down what is told of the room of a kept take, and how warm the pipes were; the take."""
    given = zip(_CONDITIONS, (room_degc, room_rh, warm_min), strict=True)
    told: dict[str, Value] = {name: value for name, value in given if value is not None}
    if not told:
        raise InputError(
            field="conditions", given="none", allowed="temperature, humidity or minutes played before"
        )
    with ledger.act("conditions", who=who, said=f"conditions of take {take_id}") as act:
        take = act.row(TakeRecord, take_id)
        if take.removed_at is not None:
            raise NotFoundError(f"Take {take_id} lies in the bin: undo its removal first.")
        return act.update(take, told)


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeConditions:
    """A take's room and warmth, with its reed's number and its chanter's name."""

    take: int
    at: str
    reed: str | None
    chanter: str | None
    room_degc: float | None
    room_rh: float | None
    warm_min: float | None


def list_conditions(ledger: Ledger, *, limit: int) -> list[TakeConditions]:
    """The newest takes with the conditions of each."""
    if limit < 1:
        raise InputError(field="limit", given=f"{limit}", allowed="at least 1", nearest="1")
    with ledger.reading() as reader:
        takes = reader.rows(TakeRecord, order="-at", limit=limit)
        reeds = reader.by_id(ReedRecord, (take.reed_id for take in takes))
        chanters = reader.by_id(ChanterRecord, (take.chanter_id for take in takes))
    return [
        TakeConditions(
            take=take.id,
            at=take.at,
            reed=reeds[take.reed_id].number if take.reed_id in reeds else None,
            chanter=chanters[take.chanter_id].name if take.chanter_id in chanters else None,
            room_degc=take.room_degc,
            room_rh=take.room_rh,
            warm_min=take.warm_min,
        )
        for take in takes
    ]
