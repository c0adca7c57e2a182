"""Room and warmth in which a take was played: written down later, and looked through.

Reed and air change with both, so two takes are best compared where they are alike. Guarded by
`tests/doors/test_conditions_command.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, NotFoundError

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Row, Value

_CONDITIONS: Final = ("room_degc", "room_rh", "warm_min")


def note_conditions(
    ledger: Ledger,
    take_id: int,
    *,
    who: str,
    room_degc: float | None = None,
    room_rh: float | None = None,
    warm_min: float | None = None,
) -> Row:
    """Write down what is told of the room of a kept take, and how warm the pipes were; the take."""
    given = zip(_CONDITIONS, (room_degc, room_rh, warm_min), strict=True)
    told: dict[str, Value] = {name: value for name, value in given if value is not None}
    if not told:
        raise InputError(
            field="conditions", given="none", allowed="temperature, humidity or minutes played before"
        )
    with ledger.act("conditions", who=who, said=f"conditions of take {take_id}") as act:
        take = act.row("takes", take_id)
        if take["removed_at"] is not None:
            raise NotFoundError(f"Take {take_id} lies in the bin: undo its removal first.")
        return act.update("takes", take_id, told, read=take)


def list_conditions(ledger: Ledger, *, limit: int) -> list[Row]:
    """The newest takes with the reed's number, the chanter's name and the conditions of each."""
    if limit < 1:
        raise InputError(field="limit", given=f"{limit}", allowed="at least 1", nearest="1")
    with ledger.reading() as reader:
        takes = reader.rows("takes", order="-at", limit=limit)
        names: dict[str, dict[Value, Value]] = {}
        for table, column, name in (("reeds", "reed_id", "number"), ("chanters", "chanter_id", "name")):
            ids = list({take[column] for take in takes if take[column] is not None})
            names[table] = {row["id"]: row[name] for row in reader.of_many(table, "id", ids)}
    return [
        {
            "take": take["id"],
            "at": take["at"],
            "reed": names["reeds"].get(take["reed_id"]),
            "chanter": names["chanters"].get(take["chanter_id"]),
            **{name: take[name] for name in _CONDITIONS},
        }
        for take in takes
    ]
