"""Lots and reeds: taken in, moved from state to state, looked through.

Guarded by `tests/doors/test_ledger_commands.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.parsing import folded
from canebench.bench.acts.ledger import check_new, named, reed_numbered
from canebench.reeds.states import State, check_move, state_named
from canebench.store.records import LotRecord, PlayerRecord, ReedRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value

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
        check_new(act, LotRecord, name, field="lot")
        lot = act.insert("lots", {"name": name, "count": count, **told})
        known = act.texts(ReedRecord, "number")
        start = first if first is not None else _next_number(known)
        numbers = [str(start + i) for i in range(count)]
        _check_free(numbers, known)
        for number in numbers:
            values: dict[str, Value] = {"number": number, "lot_id": lot, "state": State.NEW.value}
            act.insert("reeds", {**values, "state_since": act.at})
    return numbers


def move_reed(ledger: Ledger, number: str, *, to: str, reason: str, who: str) -> tuple[str, str]:
    """Move a reed to another state, with its reason; the states before and after."""
    wanted = state_named(to)
    with ledger.act("move", who=who, said=f"reed {number}: {wanted.value}, {reason}"[:2000]) as act:
        reed = reed_numbered(act, number)
        now = State(reed.state)
        check_move(now, wanted, reason=reason)
        change: dict[str, Value] = {
            "state": wanted.value,
            "state_reason": reason,
            "state_since": act.at,
        }
        act.update(reed, change)
    return now.value, wanted.value


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedOfLot(ReedRecord):
    """A reed and the name of its lot."""

    lot: str | None


def list_reeds(
    ledger: Ledger,
    *,
    state: str | None = None,
    lot: str | None = None,
    player: str | None = None,
    search: str | None = None,
    limit: int | None = None,
) -> list[ReedOfLot]:
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
            where["lot_id"] = named(reader, LotRecord, lot).id
        if player is not None:
            where["player_id"] = named(reader, PlayerRecord, player).id
        like = None if search is None else (SEARCHED, search)
        rows = reader.rows(ReedRecord, where, order="#number", limit=limit, like=like)
        lots = {row.id: row.name for row in reader.rows(LotRecord)}
    return [
        ReedOfLot(**row.values(), lot=None if row.lot_id is None else lots.get(row.lot_id)) for row in rows
    ]


def list_lots(ledger: Ledger) -> list[LotRecord]:
    """All lots, oldest first."""
    with ledger.reading() as reader:
        return reader.rows(LotRecord)


def _next_number(known: list[str]) -> int:
    return max((int(one) for one in known if one.isdecimal()), default=0) + 1


def _check_free(numbers: list[str], known: list[str]) -> None:
    """An error where a number is a reed's already, be it with leading zeros."""
    by_bare = {folded(one): one for one in known}
    taken = next((by_bare[folded(one)] for one in numbers if folded(one) in by_bare), None)
    if taken is not None:
        raise InputError(
            field="first number",
            given=numbers[0],
            allowed=f"there is a reed {taken} already",
            nearest=f"{_next_number(known)}",
        )
