"""Damage inside the rows, which no look at the structure finds: every row against what the acts tell of it.

Each change holds its row before and after it: the newest must be the row as it stands, each other's after the
next one's before. Each act's digest holds the act, its changes and the act before (`act_digest`). What this
cannot see: a whole older ledger in the place of the newer; a column that came later, in rows unchanged since;
the acts' counter standing too high, which leaves numbers out and nothing else; the room that no row uses.
Guarded by `tests/faults/test_row_damage.py`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from hashlib import blake2b
from typing import TYPE_CHECKING, Final

from canebench.store.tables import TABLES
from canebench.store.wholeness.act_digest import ActDigest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from canebench.store.tables import Row

#: So many are told one by one.
_MOST: Final = 20
#: A row of a table, by the table's name and its id.
_Place = tuple[str, int]


def rows_amiss(rows: Callable[[str], Iterable[Row]]) -> list[str]:
    """What is wrong with the rows of a ledger of the newest revision, in words; nothing where all is whole.

    `rows` gives those of a table in the order of its key.
    """
    try:
        found = [*_acts_amiss(rows), *_counters_amiss(rows), *_held_amiss(rows)]
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        # Text where a number was, a column of another name: bits that turned.
        return [f"its rows cannot be read as they were written ({type(error).__name__})"]
    more = len(found) - _MOST
    return [*found[:_MOST], f"and {more} more"] if more > 0 else found


def altered(name: str) -> str:
    """What is said of anything that is not what its digest, or what was told of it, says."""
    return f"{name} is not as it was written"


def _acts_amiss(rows: Callable[[str], Iterable[Row]]) -> Iterator[str]:
    """Every act by its digest, and whether it and the act that undid it agree."""
    undone: dict[int, int | None] = {}
    undoing: dict[int, int] = {}
    before = None
    changes = iter(rows("changes"))
    change = next(changes, None)
    for act in rows("acts"):
        number, digest = int(act["id"]), ActDigest()
        while change is not None and change["act_id"] <= number:
            digest.add(change)
            change = next(changes, None)
        if act["digest"] != digest.of(act, before):
            yield altered(f"act {number}, or the one before it,")
        before = act["digest"]
        undone[number] = act["undone_by"]
        if act["undoes"] is not None:
            undoing[act["undoes"]] = number
    if change is not None:
        yield f"change {change['place']} of act {change['act_id']} is of no act"
    for number, by in undone.items():
        if undoing.get(number) != by:
            yield f"act {number} and what undid it do not agree"


def _counters_amiss(rows: Callable[[str], Iterable[Row]]) -> Iterator[str]:
    """The greatest number of each table that an act ever gave; that of acts may have been left unused."""
    given: dict[str, int] = defaultdict(int)
    for change in rows("changes"):
        given[change["in_table"]] = max(given[change["in_table"]], change["row_id"])
    newest = max((act["id"] for act in rows("acts")), default=0)
    counters = {row["name"]: row["used"] for row in rows("counters")}
    for name in sorted({*given, *counters} - {"acts"}):
        if counters.get(name) != given.get(name):
            yield altered(f"the counter of {name}")
    if counters.get("acts", 0) < newest:
        yield altered("the counter of acts")


def _held_amiss(rows: Callable[[str], Iterable[Row]]) -> list[str]:
    """Rows that are not as their newest change left them; changes that do not follow each other."""
    held: dict[_Place, bytes] = {}
    suspects: set[_Place] = set()
    for change in rows("changes"):
        place = (change["in_table"], change["row_id"])
        if held.get(place) != _short(change["before"]):
            suspects.add(place)
        held[place] = _short(change["after"]) or b""
    for name in TABLES:
        for row in rows(name):
            place = (name, row["id"])
            if held.pop(place, None) != _short(_told(row)):
                suspects.add(place)
    # What is left was deleted for good: of such a row nothing was told after it.
    suspects |= {place for place, after in held.items() if after != b""}
    return _compared(rows, suspects) if suspects else []


def _short(text: str | None) -> bytes | None:
    return None if text is None else blake2b(text.encode(errors="surrogatepass"), digest_size=16).digest()


def _told(row: Mapping[str, object]) -> str:
    """A row as a change tells it."""
    return json.dumps(row, ensure_ascii=False, sort_keys=True, allow_nan=False)


def _compared(rows: Callable[[str], Iterable[Row]], suspects: set[_Place]) -> list[str]:
    """Those of the suspects that differ in a column that both sides have: one may have come later."""
    held: dict[_Place, Row | None] = dict.fromkeys(suspects)
    amiss: set[_Place] = set()
    for change in rows("changes"):
        place = (change["in_table"], change["row_id"])
        if place in suspects:
            if not _same(held[place], _parsed(change["before"])):
                amiss.add(place)
            held[place] = _parsed(change["after"])
    for name in TABLES:
        of_table = {row_id for table, row_id in suspects if table == name}
        for row in rows(name) if of_table else ():
            if row["id"] in of_table:
                if not _same(held[name, row["id"]], row):
                    amiss.add((name, row["id"]))
                held[name, row["id"]] = None
    amiss |= {place for place, left in held.items() if left is not None}
    nouns = {name: table.noun for name, table in TABLES.items()}
    return [
        f"{nouns.get(name, f'row of {name!r}')} {row_id} is not as its acts tell"
        for name, row_id in sorted(amiss)
    ]


def _parsed(text: str | None) -> Row | None:
    if text is None:
        return None
    row: Row = json.loads(text)
    if not isinstance(row, dict):
        raise TypeError(text)
    return row


def _same(one: Row | None, other: Row | None) -> bool:
    if one is None or other is None:
        return one is other
    both = one.keys() & other.keys()
    return {"id", "version"} <= both and all(one[name] == other[name] for name in both)
