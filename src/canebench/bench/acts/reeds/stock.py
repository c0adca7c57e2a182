"""Lots and reeds: taken in, moved from state to state, looked through.

Guarded by `tests/doors/test_ledger_commands.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from canebench.base.errors import InputError
from canebench.bench.acts.ledger import named, number_of, reed_numbered
from canebench.reeds.eases import said as eases_said
from canebench.reeds.states import State, check_move, state_named

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Row, Value

_MOST_REEDS = 1000
#: Where a text is looked for.
SEARCHED: Final = ("number", "remarks")


def take_in_lot(
    ledger: Ledger, *, who: str, name: str, count: int, first: int | None = None, **told: Value
) -> list[str]:
    """A lot and its reeds, numbered on; the numbers for the bindings.

    `told` are further columns of a lot: bought_on, price, currency, cane, cut, remarks.
    """
    if not 1 <= count <= _MOST_REEDS:
        raise InputError(
            field="count", given=f"{count}", allowed=f"from 1 to {_MOST_REEDS} reeds are taken in at once"
        )
    with ledger.act("take-in", who=who, said=f"took in {count} reeds of the lot {name}") as act:
        lot = act.insert("lots", {"name": name, "count": count, **told})
        start = first if first is not None else _next_number(act.rows("reeds"))
        numbers = [str(start + i) for i in range(count)]
        for number in numbers:
            values: dict[str, Value] = {"number": number, "lot_id": lot, "state": State.NEW.value}
            act.insert("reeds", {**values, "state_since": act.at})
    return numbers


def move_reed(ledger: Ledger, number: str, *, to: str, reason: str, who: str) -> tuple[str, str]:
    """Move a reed to another state, with its reason; the states before and after."""
    wanted = state_named(to)
    with ledger.act("move", who=who, said=f"reed {number}: {wanted.value}, {reason}"[:2000]) as act:
        reed = reed_numbered(act, number)
        now = State(str(reed["state"]))
        check_move(now, wanted, reason=reason)
        change: dict[str, Value] = {
            "state": wanted.value,
            "state_reason": reason,
            "state_since": act.at,
        }
        act.update("reeds", number_of(reed, "id"), change, read=reed)
    return now.value, wanted.value


def list_reeds(
    ledger: Ledger,
    *,
    state: str | None = None,
    lot: str | None = None,
    player: str | None = None,
    search: str | None = None,
    limit: int | None = None,
) -> list[Row]:
    """Reeds with their lot's name, by number; of one state, lot or player, or found by a text.

    `search` looks at numbers and remarks; with `limit`, at most so many.
    """
    if limit is not None and limit < 1:
        raise InputError(field="limit", given=f"{limit}", allowed="at least 1", nearest="1")
    where: dict[str, Value] = {}
    with ledger.reading() as reader:
        if state is not None:
            where["state"] = state_named(state).value
        if lot is not None:
            where["lot_id"] = named(reader, "lots", lot)["id"]
        if player is not None:
            where["player_id"] = named(reader, "players", player)["id"]
        like = None if search is None else (SEARCHED, search)
        rows = reader.rows("reeds", where, order="#number", limit=limit, like=like)
        lots = {row["id"]: row["name"] for row in reader.rows("lots")}
    return [{**row, "lot": lots.get(row["lot_id"])} for row in rows]


def list_lots(ledger: Ledger) -> list[Row]:
    """All lots, oldest first."""
    with ledger.reading() as reader:
        return reader.rows("lots")


def reed_story(ledger: Ledger, number: str) -> dict[str, Any]:
    """A reed's whole story: its row, minutes, pinches, strengths, mouth tests, takes, and every act."""
    with ledger.reading() as reader:
        reed = reed_numbered(reader, number)
        of_reed: dict[str, Value] = {"reed_id": reed["id"]}
        plays, eases = reader.rows("plays", of_reed), reader.rows("eases", of_reed)
        pinches = sum(row["how"] == "pinch" for row in eases)
        return {
            "reed": reed,
            "lot": reader.row("lots", number_of(reed, "lot_id")) if reed["lot_id"] is not None else None,
            "minutes": sum(float(row["minutes"] or 0.0) for row in plays),
            "spells": len(plays),
            "pinches": pinches,
            "eases_said": eases_said(pinches),
            "strengths": reader.rows("strengths", of_reed, order="at"),
            "mouth_tests": reader.rows("mouth_tests", of_reed, order="at"),
            "takes": reader.rows("takes", of_reed, order="at"),
            "settings": reader.rows("settings", of_reed, order="at"),
            "acts": reader.story("reeds", number_of(reed, "id")),
        }


def _next_number(reeds: list[Row]) -> int:
    numbers = [int(str(row["number"])) for row in reeds if str(row["number"]).isdigit()]
    return max(numbers, default=0) + 1
