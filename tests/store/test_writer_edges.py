"""What the writer holds at its edges: lengths, numbers that are used, names by the thousand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError
from canebench.store.ledger import BIN_DAYS
from canebench.store.records import LotRecord, PlayerRecord, ReedRecord
from canebench.store.tables import TABLES
from support.ledgers import amiss_of, dump_of, row_of

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.tables import Value
    from support.ledgers import Clock


@pytest.mark.parametrize(("field", "most"), [("who", 200), ("said", 2_000)])
def test_who_and_what_was_said_have_a_longest(ledger: Ledger, field: str, most: int) -> None:
    for length, fits in ((most, True), (most + 1, False)):
        told = {"who": "A", "said": "x", field: "y" * length}
        if fits:
            with ledger.act("lot", **told) as act:
                act.insert("lots", {"name": f"lot {length}", "count": 1})
        else:
            with (
                pytest.raises(InputError, match=f"at most {most}"),
                ledger.act("lot", **told) as act,
            ):
                act.insert("lots", {"name": f"lot {length}", "count": 1})
    assert len(dump_of(ledger)["acts"]) == 1


def test_many_rows_are_numbered_from_one_on_and_all_are_there(ledger: Ledger) -> None:
    names = [{"name": f"player {n}"} for n in range(5)]
    with ledger.act("players", who="A", said="x") as act:
        assert act.insert_many("players", names) == [1, 2, 3, 4, 5]
        assert act.insert_many("players", [{"name": "one more"}]) == [6]
        assert act.insert_many("players", []) == []
    with ledger.reading() as reader:
        assert [row.name for row in reader.rows(PlayerRecord)] == [
            *(row["name"] for row in names),
            "one more",
        ]
    assert amiss_of(ledger) == []


def test_a_number_that_is_kept_never_turns_the_count_back(ledger: Ledger) -> None:
    """Ten was kept, then seven, which was free: the next is eleven."""
    with ledger.act("players", who="A", said="x") as act:
        act.insert_many("players", [{"id": 10, "name": "ten"}], keep=True)
        act.insert_many("players", [{"id": 7, "name": "seven"}], keep=True)
        assert act.insert("players", {"name": "next"}) == 11
    assert amiss_of(ledger) == []


@pytest.mark.parametrize("before", [True, False])
def test_a_number_that_was_used_is_refused_within_the_rows_too(ledger: Ledger, before: bool) -> None:
    rows: list[dict[str, Value]] = [{"id": 3, "name": "a"}, {"id": 3, "name": "b"}]
    with ledger.act("players", who="A", said="x") as act:
        if before:
            act.insert_many("players", rows[:1], keep=True)
        with pytest.raises(InputError, match="used before"):
            act.insert_many("players", rows[1:] if before else rows, keep=True)
        act.insert("lots", {"name": "kept", "count": 1})


def test_a_number_whose_row_is_gone_for_good_is_not_kept_again(ledger: Ledger, clock: Clock) -> None:
    """History tells of it; in another table the number is free."""
    with ledger.act("lot", who="A", said="x") as act:
        lot = act.insert("lots", {"name": "gone", "count": 1})
        act.remove(act.row(LotRecord, lot))
    clock.pass_days(BIN_DAYS + 1)
    assert ledger.empty_bin(who="A") == 1
    with ledger.act("lot", who="A", said="x") as act:
        with pytest.raises(InputError, match="used before"):
            act.insert_many("lots", [{"id": lot, "name": "another", "count": 1}], keep=True)
        assert act.insert_many("players", [{"id": lot, "name": "free"}], keep=True) == [lot]
    assert amiss_of(ledger) == []


def test_a_row_that_brings_no_version_is_in_its_first(ledger: Ledger) -> None:
    with ledger.act("players", who="A", said="x") as act:
        act.insert_many("players", [{"id": 3, "name": "a"}, {"id": 4, "version": 7, "name": "b"}], keep=True)
        assert [act.row(PlayerRecord, row_id).version for row_id in (3, 4)] == [1, 7]


def test_no_rows_take_no_number(ledger: Ledger) -> None:
    with ledger.act("players", who="A", said="x") as act:
        assert act.insert_many("players", []) == []
        assert act.insert("players", {"name": "first"}) == 1


def test_thousands_of_names_in_the_bin_are_freed_once_each(ledger: Ledger) -> None:
    """They are looked up by some thousand: one that two lookups found would be written down twice."""
    names = [
        {"number": f"n{n}", "state": "new", "state_since": "2026-03-01T12:00:00.000Z"} for n in range(3_400)
    ]
    with ledger.act("reeds", who="A", said="x") as act:
        ids = act.insert_many("reeds", names)
    with ledger.act("remove", who="A", said="x") as act:
        for reed in act.rows(ReedRecord):
            act.remove(reed)
    with ledger.act("reeds", who="A", said="again") as act:
        again = act.insert_many("reeds", names)
    assert set(ids).isdisjoint(again)
    assert amiss_of(ledger) == []
    freed = [change for change in dump_of(ledger)["changes"] if change["act_id"] == 3]
    assert len(freed) == 2 * len(names)


def test_what_nothing_refers_to_leaves_the_bin_and_what_is_referred_to_stays(ledger: Ledger) -> None:
    with ledger.act("lot", who="A", said="x") as act:
        lone, held = (act.insert("lots", {"name": name, "count": 1}) for name in ("lone", "held"))
        told: dict[str, Value] = {"number": "1", "lot_id": held, "state": "new", "state_since": act.at}
        reed = act.insert("reeds", told)
    with ledger.act("remove", who="A", said="x") as act:
        act.remove(act.row(ReedRecord, reed))
        for lot in (lone, held):
            act.remove(row_of(ledger, LotRecord, lot))
        later = "2999-01-01T00:00:00.000Z"
        assert act.delete_removed(TABLES["lots"], later) == 1
    assert [row["id"] for row in dump_of(ledger)["lots"]] == [held]
