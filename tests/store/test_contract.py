"""One contract for both databases: what an act keeps, what it refuses, what undo gives back."""

from __future__ import annotations

import math
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canebench.base.errors import InputError, NotFoundError, UnknownNameError
from canebench.store.ledger import BIN_DAYS, Ledger, open_ledger
from canebench.store.records import (
    RECORDS,
    LotRecord,
    PitchRecord,
    PlayerRecord,
    PlayRecord,
    ReedRecord,
    TakeRecord,
)
from canebench.store.refused_edits import StaleEditError
from canebench.store.values import written
from support.ledgers import Clock, dump_of, last_act, row_of, take_in

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from canebench.store.database import Connection
    from canebench.store.tables import Row, Value

_QUIET = settings(
    max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, database=None
)


class StopHereError(Exception):
    """Raised by a test in the middle of an act."""


def _change(ledger: Ledger, table: str, row_id: int, **values: Value) -> int:
    """Change a row as it stands; the number of the act."""
    with ledger.act("change", who="Ailsa", said=f"changed {table} {row_id}") as act:
        act.update(act.row(RECORDS[table], row_id), values)
        return act.act_id


# What is kept


def test_what_is_told_is_kept_with_who_and_when(ledger: Ledger) -> None:
    lot, reeds = take_in(ledger)
    assert row_of(ledger, LotRecord, lot).name == "spring"
    with ledger.reading() as reader:
        act = reader.history()[0]
        assert (act.who, act.kind, act.said) == ("Ailsa", "take-in", "took in spring")
        assert act.at == "2026-03-01T12:00:01.000Z"
        assert reader.count(ReedRecord) == 2
        assert [one.id for one in reader.story(ReedRecord, reeds[0])] == [act.id]
        changes = reader.act(act.id).changes
    assert [(table, row_id, before) for table, row_id, before, _ in changes] == [
        ("lots", lot, None),
        *(("reeds", reed, None) for reed in reeds),
    ]


def test_who_writes_is_said_with_every_act(ledger: Ledger) -> None:
    lot, _ = take_in(ledger)
    for who in ("Bram", "Ceit", "Ωmega"):
        with ledger.act("remark", who=who, said="x") as act:
            act.update(act.row(LotRecord, lot), {"remarks": who})
    with ledger.reading() as reader:
        assert [act.who for act in reader.history()] == ["Ωmega", "Ceit", "Bram", "Ailsa"]


@pytest.mark.parametrize("value", [0.1 + 0.2, 1e-300, 29.999999999999996, 5e-324, 7.0, 2, 1 / 3])
def test_numbers_come_back_to_the_last_digit(ledger: Ledger, value: float) -> None:
    with ledger.act("player", who="A", said="x") as act:
        player = act.insert("players", {"name": "x", "blows_kpa": value})
    kept = row_of(ledger, PlayerRecord, player).blows_kpa
    assert isinstance(kept, float)
    assert kept == value
    with ledger.reading() as reader:
        (change,) = reader.act(last_act(ledger)).changes
    assert change[3] is not None
    assert repr(change[3]["blows_kpa"]) == repr(float(value))


def test_no_zero_is_negative(ledger: Ledger) -> None:
    """SQLite keeps none in its tables, but text does: history and row would differ."""
    with ledger.act("player", who="A", said="x") as act:
        player = act.insert("players", {"name": "x", "blows_kpa": -0.0})
    kept = row_of(ledger, PlayerRecord, player)
    with ledger.reading() as reader:
        (change,) = reader.act(last_act(ledger)).changes
    assert repr(kept.blows_kpa) == "0.0"
    assert repr(change[3]) == repr(dict(sorted(kept.values().items())))


@_QUIET
@given(value=st.floats(-1e9, 1e9))
def test_any_number_comes_back_to_the_last_digit(ledger: Ledger, value: float) -> None:
    with ledger.act("take", who="A", said="x") as act:
        take = act.insert("takes", _take(act.at))
        pitch = act.insert(
            "pitches",
            {"take_id": take, "note": "low A", "hz": 471.0, "typed_value": value, "typed_unit": "Hz"},
        )
    assert repr(row_of(ledger, PitchRecord, pitch).typed_value) == repr(value + 0.0)


def _take(at: str) -> dict[str, Value]:
    return {"at": at, "origin": "x.wav", "source": "typed", "scale": "just", "reference": "drones"}


@_QUIET
@given(text=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=60))
def test_text_comes_back_as_it_was(ledger: Ledger, text: str) -> None:
    with ledger.act("player", who="A", said="x") as act:
        known = act.find(PlayerRecord, "name", "x")
        player = known.id if known else act.insert("players", {"name": "x"})
        act.update(act.row(PlayerRecord, player), {"remarks": text})
    assert row_of(ledger, PlayerRecord, player).remarks == text


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            " ",
            "\t",
            "null",
            "NULL",
            "None",
            "?",
            "%",
            "%s",
            "%%",
            "'; DROP TABLE reeds; --",
            '"',
            "\\",
            "\\x",
        ),
        *("\x01\x02\x1f\x7f\x85", "a\r\nb\rc\n", "\u202eabc", "\u2028", "\ufeff", "\ufffe", "e\u0301", "é"),
        *("𝄞" * 50_000, "x" * 200_000),
    ],
    ids=lambda text: ascii(text[:12]),
)
def test_odd_text_comes_back_as_it_was(ledger: Ledger, text: str) -> None:
    """Also in a name, which is looked up, and in the history."""
    with ledger.act("player", who="A", said="x") as act:
        player = act.insert("players", {"name": text[:200], "remarks": text})
    assert row_of(ledger, PlayerRecord, player).remarks == text
    with ledger.reading() as reader:
        found = reader.find(PlayerRecord, "name", text[:200])
        (change,) = reader.act(last_act(ledger)).changes
    assert found is not None
    assert change[3] == found.values()
    assert found.id == player


def test_empty_text_is_not_absence(ledger: Ledger) -> None:
    with ledger.act("players", who="A", said="") as act:
        empty = act.insert("players", {"name": "a", "remarks": ""})
        absent = act.insert("players", {"name": "b"})
    with ledger.reading() as reader:
        assert reader.row(PlayerRecord, empty).remarks == ""
        assert reader.row(PlayerRecord, absent).remarks is None
        assert [row.id for row in reader.rows(PlayerRecord, {"remarks": ""})] == [empty]
        assert [row.id for row in reader.rows(PlayerRecord, {"remarks": None})] == [absent]


def test_text_sorts_by_its_code_points(ledger: Ledger) -> None:
    names = ["B", "a", "Z", "ä", "_", "b", "10", "9", "é", "\U0001d11e", "\uff21", "A b", "Ab"]
    with ledger.act("players", who="A", said="x") as act:
        for name in names:
            act.insert("players", {"name": name})
    with ledger.reading() as reader:
        assert [row.name for row in reader.rows(PlayerRecord, order="name")] == sorted(names)


def test_times_sort_as_they_follow_each_other(ledger: Ledger) -> None:
    start = datetime(2025, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC)
    steps = (0.0, 0.001, 1.0, 60.0, 3600.0, 86_400.0, 8.64e6, 3e9, -1.0, -1e9)
    moments = [start + timedelta(seconds=step) for step in steps]
    zones = [timezone(timedelta(hours=hours)) for hours in (-11, 0, 5.5, 14)]
    with ledger.act("takes", who="A", said="x") as act:
        for index, moment in enumerate(moments):
            local = moment.astimezone(zones[index % len(zones)])
            act.insert("takes", {**_take(written(local)), "origin": f"{index}"})
    with ledger.reading() as reader:
        kept = [row.at for row in reader.rows(TakeRecord, order="at")]
        assert [datetime.fromisoformat(one) for one in kept] == sorted(moments)
        assert [row.at for row in reader.rows(TakeRecord, order="-at")] == kept[::-1]


# What is refused


def test_a_change_counts_the_version_and_a_stale_one_is_refused(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    read = row_of(ledger, ReedRecord, reed)
    with ledger.act("remark", who="Ailsa", said="first") as act:
        after = act.update(read, {"remarks": "dark cane"})
    assert after == row_of(ledger, ReedRecord, reed)
    before = dump_of(ledger)
    with (
        pytest.raises(StaleEditError, match="nothing then, “dark cane” now") as refused,
        ledger.act("remark", who="Bram", said="second") as act,
    ):
        act.update(read, {"remarks": "light cane"})
    (differ,) = refused.value.differ
    assert (differ.field, differ.then, differ.now) == ("remarks", "nothing", "“dark cane”")
    with (
        pytest.raises(StaleEditError, match="changed by someone else"),
        ledger.act("remove", who="Bram", said="x") as act,
    ):
        act.remove(read)
    assert row_of(ledger, ReedRecord, reed).version == 2
    assert dump_of(ledger) == before


def test_what_lies_in_the_bin_is_not_changed(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    with ledger.act("remove", who="A", said="x") as act:
        act.remove(act.row(ReedRecord, reed))
    binned = row_of(ledger, ReedRecord, reed)
    with pytest.raises(StaleEditError, match="changed by"), ledger.act("x", who="A", said="x") as act:
        act.update(binned, {"remarks": "x"})
    with (
        pytest.raises(InputError, match="that reed is in the bin"),
        ledger.act("x", who="A", said="x") as act,
    ):
        act.insert("plays", {"reed_id": reed, "at": act.at, "minutes": 5})


@pytest.mark.parametrize("stop", [StopHereError, KeyboardInterrupt, InputError])
def test_an_act_is_all_or_nothing(ledger: Ledger, stop: type[BaseException]) -> None:
    take_in(ledger)
    before = dump_of(ledger)
    error = InputError(field="x", given="x", allowed="no") if stop is InputError else stop()
    with pytest.raises(stop), ledger.act("take-in", who="Ailsa", said="broken off") as act:  # noqa: PT012
        lot = act.insert("lots", {"name": "half", "count": 1})
        act.update(act.row(LotRecord, lot), {"remarks": "x"})
        assert act.count(LotRecord) == 2
        raise error
    assert dump_of(ledger) == before
    take_in(ledger, "autumn")
    assert dump_of(ledger) != before


def test_an_act_that_changes_nothing_leaves_no_trace(ledger: Ledger) -> None:
    with ledger.act("look", who="Ailsa", said="nothing"):
        pass
    with ledger.reading() as reader:
        assert reader.history() == []


@pytest.mark.parametrize(
    ("table", "values", "said"),
    [
        ("lots", {"name": "x"}, "it is needed"),
        ("lots", {"name": None, "count": 1}, "it is needed"),
        ("lots", {"name": "x", "count": 0}, "from 1 to 10000"),
        ("lots", {"name": "x", "count": 1.5}, "whole number"),
        ("lots", {"name": "x", "count": True}, "a number is needed"),
        ("lots", {"name": "x", "count": "7"}, "a number is needed"),
        ("lots", {"name": 7, "count": 1}, "text is needed"),
        ("lots", {"name": "x\x00", "count": 1}, "plain text"),
        ("lots", {"name": "\ud800", "count": 1}, "plain text"),
        ("lots", {"name": "x" * 200_001, "count": 1}, "at most 200000"),
        ("lots", {"name": "x", "count": 1, "bought_on": "soon"}, "a date like"),
        ("lots", {"name": "x", "count": 1, "colour": "dark"}, "column of lots: 'colour' was given"),
        ("lots", {"name": "x", "count": 1, "id": 7}, "column of lots: 'id' was given"),
        ("reeds", {"number": "1", "state": "asleep", "state_since": "2026-01-01"}, "one of new"),
        ("reeds", {"number": "1", "state": "new", "state_since": "2026-01-01", "lot_id": 99}, "no such lot"),
        ("reeds", {"number": "1", "state": "new", "state_since": "2026-01-01", "lot_id": -1}, "no such lot"),
        (
            "reeds",
            {"number": "1", "state": "new", "state_since": "2026-01-01", "lot_id": 10**30},
            "no such lot",
        ),
        ("players", {"name": "x", "blows_kpa": math.nan}, "a number is needed"),
        ("players", {"name": "x", "blows_kpa": math.inf}, "a number is needed"),
        ("players", {"name": "x", "blows_kpa": 300.0}, "kPa is allowed"),
        ("tables", {}, "table: 'tables' was given"),
        ("acts", {"who": "me"}, "table: 'acts' was given"),
    ],
)
def test_what_cannot_be_is_refused_by_name(
    ledger: Ledger, table: str, values: dict[str, Value], said: str
) -> None:
    before = dump_of(ledger)
    with pytest.raises(InputError, match=said), ledger.act("x", who="A", said="x") as act:
        act.insert(table, values)
    assert dump_of(ledger) == before


def test_unknown_tables_and_columns_are_named_wherever_they_are_asked_for(ledger: Ledger) -> None:
    take_in(ledger)
    with ledger.act("x", who="A", said="x") as act:
        with pytest.raises(UnknownNameError, match=r"table: 'reed' was given.* Nearest that works: reeds"):
            act.insert("reed", {})
        for table in ("sqlite_master", "", "acts"):
            with pytest.raises(UnknownNameError, match="table"):
                act.insert(table, {})
    with ledger.reading() as reader:
        with pytest.raises(UnknownNameError, match=r"column of reeds: 'stat' was given.* works: state"):
            reader.rows(ReedRecord, order="stat")
        with pytest.raises(UnknownNameError, match="column of reeds"):
            reader.rows(ReedRecord, {"id; DROP TABLE reeds": 1})


@pytest.mark.parametrize("row_id", [0, -1, 99, 2**63, 10**30])
def test_a_row_or_an_act_that_is_not_there_is_said_so(ledger: Ledger, row_id: int) -> None:
    take_in(ledger)
    with ledger.reading() as reader:
        with pytest.raises(NotFoundError, match=f"There is no reed {row_id} in this ledger"):
            reader.row(ReedRecord, row_id)
        with pytest.raises(NotFoundError, match=f"There is no act {row_id} in this ledger"):
            reader.act(row_id)
    with pytest.raises(NotFoundError, match="There is no act"):
        ledger.undo(row_id, who="A")


@pytest.mark.parametrize(
    ("who", "said"), [("x" * 201, "x"), ("A", "x" * 2001), ("A\x00", "x"), ("A", "\udc00")]
)
def test_who_and_what_was_said_are_plain_text(ledger: Ledger, who: str, said: str) -> None:
    with pytest.raises(InputError, match=r"who|said"), ledger.act("x", who=who, said=said) as act:
        act.insert("players", {"name": "x"})
    with ledger.reading() as reader:
        assert reader.history() == []


def test_a_name_stands_once(ledger: Ledger) -> None:
    take_in(ledger, count=1)
    before = dump_of(ledger)
    with pytest.raises(InputError, match="there already"):
        take_in(ledger, count=1)
    assert dump_of(ledger) == before
    autumn, _ = take_in(ledger, "autumn", count=1)
    with pytest.raises(InputError, match="there already"):
        _change(ledger, "lots", autumn, name="spring")


def test_a_name_in_the_bin_is_free_again_and_history_stays_right(ledger: Ledger) -> None:
    """Undo, the same again, undo both: everybody has their own name back."""
    first, _ = take_in(ledger, count=1)
    before = dump_of(ledger)["lots"]
    undone = ledger.undo(1, who="A")
    second, _ = take_in(ledger, count=1)
    again = last_act(ledger)
    assert row_of(ledger, LotRecord, second).name == "spring"
    assert str(row_of(ledger, LotRecord, first).name).startswith("spring (removed ")
    with pytest.raises(StaleEditError, match="name: “spring” then"):
        ledger.undo(undone, who="A")
    ledger.undo(again, who="A")
    assert row_of(ledger, LotRecord, first).name == "spring"
    ledger.undo(undone, who="A")
    with ledger.reading() as reader:
        (lot,) = reader.rows(LotRecord)
    assert {**lot.values(), "version": 1} == {**before[0], "version": 1}


def test_what_others_refer_to_is_not_removed(ledger: Ledger) -> None:
    lot, reeds = take_in(ledger)
    with pytest.raises(InputError, match="a reed refers to it"), ledger.act("x", who="A", said="x") as act:
        act.remove(act.row(LotRecord, lot))
    with ledger.act("remove", who="A", said="removed") as act:
        for reed in reeds:
            act.remove(act.row(ReedRecord, reed))
        act.remove(act.row(LotRecord, lot))
    with ledger.reading() as reader:
        assert reader.count(LotRecord) == 0


# Undo and the bin


def test_undo_gives_back_what_was_there_and_can_itself_be_undone(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    moved = _change(ledger, "reeds", reed, state="on trial")
    undone = ledger.undo(moved, who="Bram")
    assert row_of(ledger, ReedRecord, reed).state == "new"
    with ledger.reading() as reader:
        assert reader.act(moved).undone_by == undone
        assert reader.act(undone).undoes == moved
        assert (reader.act(undone).who, reader.act(undone).kind) == ("Bram", "undo")
        newest = reader.last_act()
        assert newest is not None
        assert newest.id == 1
    with pytest.raises(InputError, match=f"it was undone by act {undone}"):
        ledger.undo(moved, who="Bram")
    ledger.undo(undone, who="Bram")
    assert row_of(ledger, ReedRecord, reed).state == "on trial"
    assert row_of(ledger, ReedRecord, reed).version == 4


def test_undo_of_a_new_row_puts_it_into_the_bin_and_back(ledger: Ledger) -> None:
    take_in(ledger)
    undone = ledger.undo(1, who="Ailsa")
    with ledger.reading() as reader:
        assert reader.count(ReedRecord) == 0
        assert len(reader.rows(ReedRecord, removed=True)) == 2
    ledger.undo(undone, who="Ailsa")
    with ledger.reading() as reader:
        assert reader.count(ReedRecord) == 2


def test_undo_puts_nothing_into_the_bin_that_others_refer_to(ledger: Ledger) -> None:
    """Also where it goes there because an undoing of an undoing is undone."""
    with ledger.act("take-in", who="A", said="x") as act:
        lot = act.insert("lots", {"name": "spring", "count": 1})
    again = ledger.undo(ledger.undo(1, who="A"), who="A")
    with ledger.act("take-in", who="A", said="x") as act:
        act.insert("reeds", {"number": "1", "lot_id": lot, "state": "new", "state_since": act.at})
    for refused in (1, again):
        with pytest.raises(InputError, match=r"a reed refers to it|undone by act"):
            ledger.undo(refused, who="A")
    assert row_of(ledger, LotRecord, lot).removed_at is None


def test_undo_of_a_removal_brings_the_row_back(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    before = row_of(ledger, ReedRecord, reed)
    with ledger.act("remove", who="A", said="x") as act:
        act.remove(before)
    ledger.undo(last_act(ledger), who="A")
    assert row_of(ledger, ReedRecord, reed) == replace(before, version=3)


def test_undo_of_an_act_that_touched_a_row_twice(ledger: Ledger) -> None:
    with ledger.act("take-in", who="A", said="x") as act:
        lot = act.insert("lots", {"name": "spring", "count": 1})
        act.update(act.row(LotRecord, lot), {"remarks": "dry"})
    with ledger.act("remark", who="A", said="x") as act:
        act.update(act.row(LotRecord, lot), {"remarks": "damp"})
        act.update(act.row(LotRecord, lot), {"cane": "green"})
    undone = ledger.undo(2, who="A")
    assert row_of(ledger, LotRecord, lot).remarks == "dry"
    assert row_of(ledger, LotRecord, lot).cane is None
    ledger.undo(undone, who="A")
    assert row_of(ledger, LotRecord, lot).remarks == "damp"
    assert row_of(ledger, LotRecord, lot).cane == "green"
    ledger.undo(last_act(ledger), who="A")
    # What came after the first act has been undone: now it can be too.
    ledger.undo(1, who="A")
    assert row_of(ledger, LotRecord, lot).removed_at is not None


def test_undo_is_refused_where_something_came_after(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    first = _change(ledger, "reeds", reed, state="on trial")
    _change(ledger, "reeds", reed, state="breaking in")
    before = dump_of(ledger)
    with pytest.raises(StaleEditError, match="“on trial” then, “breaking in” now"):
        ledger.undo(first, who="Ailsa")
    assert dump_of(ledger) == before


def test_undo_of_a_new_row_is_refused_while_something_refers_to_it(ledger: Ledger) -> None:
    with ledger.act("lot", who="A", said="x") as act:
        lot = act.insert("lots", {"name": "spring", "count": 1})
    with ledger.act("reed", who="A", said="x") as act:
        act.insert("reeds", {"number": "1", "lot_id": lot, "state": "new", "state_since": act.at})
    before = dump_of(ledger)
    with pytest.raises(InputError, match="a reed refers to it"):
        ledger.undo(1, who="A")
    assert dump_of(ledger) == before


def test_undo_does_not_bring_back_a_reference_into_the_bin(ledger: Ledger, clock: Clock) -> None:
    lot, (reed,) = take_in(ledger, count=1)
    freed = _change(ledger, "reeds", reed, lot_id=None)
    with ledger.act("remove", who="A", said="x") as act:
        act.remove(act.row(LotRecord, lot))
    with pytest.raises(InputError, match="that lot is in the bin"):
        ledger.undo(freed, who="A")
    clock.pass_days(BIN_DAYS + 1)
    assert ledger.empty_bin(who="A") == 1
    with pytest.raises(InputError, match="there is no such lot"):
        ledger.undo(freed, who="A")
    assert row_of(ledger, ReedRecord, reed).lot_id is None


def test_the_bin_is_kept_for_thirty_days(ledger: Ledger, clock: Clock) -> None:
    lot, _ = take_in(ledger, count=1)
    undone = ledger.undo(1, who="A")
    assert ledger.empty_bin(who="A") == 0
    clock.pass_days(BIN_DAYS - 0.01)
    assert ledger.empty_bin(who="A") == 0
    clock.pass_days(0.02)
    assert ledger.empty_bin(who="A") == 2
    with pytest.raises(NotFoundError, match="no lot"):
        row_of(ledger, LotRecord, lot)
    with pytest.raises(NotFoundError, match="There is no"):
        ledger.undo(undone, who="A")
    with pytest.raises(NotFoundError, match="There is no"):
        ledger.undo(last_act(ledger), who="A")
    with ledger.reading() as reader:
        emptied = reader.act(last_act(ledger))
        assert [(table, after) for table, _, _, after in emptied.changes] == [("reeds", None), ("lots", None)]
        assert reader.story(LotRecord, lot)[0].said == "took in spring"


def test_the_bin_keeps_what_something_still_refers_to(ledger: Ledger, clock: Clock) -> None:
    """A row that went into the bin later than the one it refers to keeps that one."""
    lot, (reed,) = take_in(ledger, count=1)
    _change(ledger, "reeds", reed, remarks="x")
    with ledger.act("remove", who="A", said="x") as act:
        act.remove(act.row(ReedRecord, reed))
        act.remove(act.row(LotRecord, lot))
    removal = last_act(ledger)
    clock.pass_days(20)
    brought_back = ledger.undo(removal, who="A")
    ledger.undo(brought_back, who="A")
    clock.pass_days(BIN_DAYS - 1)
    assert ledger.empty_bin(who="A") in (0, 2)
    with ledger.reading() as reader:
        assert len(reader.rows(LotRecord, removed=True)) == len(reader.rows(ReedRecord, removed=True))


def test_numbers_are_never_used_twice(ledger: Ledger, clock: Clock) -> None:
    first, (first_reed,) = take_in(ledger, count=1)
    ledger.undo(1, who="A")
    clock.pass_days(BIN_DAYS + 1)
    ledger.empty_bin(who="A")
    second, (second_reed,) = take_in(ledger, count=1)
    assert second > first
    assert second_reed > first_reed
    with ledger.act("look", who="Ailsa", said="nothing") as act:
        unused = act.act_id
    take_in(ledger, "autumn")
    assert last_act(ledger) == unused + 1


# History, pages, states


def test_history_in_pages(ledger: Ledger) -> None:
    lot, _ = take_in(ledger, count=1)
    acts = [1, *(_change(ledger, "lots", lot, remarks=f"{number}") for number in range(6))]
    with ledger.reading() as reader:
        pages: list[list[int]] = []
        before = None
        while page := reader.history(limit=3, before=before):
            pages.append([act.id for act in page])
            before = page[-1].id
    assert pages == [acts[:3:-1], acts[3:0:-1], acts[:1]]


def test_a_story_tells_every_act_on_a_row_and_on_what_refers_to_it(ledger: Ledger) -> None:
    _, (reed, other) = take_in(ledger)
    moved = _change(ledger, "reeds", reed, state="on trial")
    _change(ledger, "reeds", other, state="on trial")
    with ledger.act("play", who="A", said="played") as act:
        act.insert("plays", {"reed_id": reed, "at": act.at, "minutes": 5})
        played = act.act_id
    undone = ledger.undo(moved, who="A")
    with ledger.reading() as reader:
        assert [act.id for act in reader.story(ReedRecord, reed)] == [1, moved, played, undone]
        assert reader.story(ReedRecord, 99) == []


def test_rows_are_searched_counted_and_fetched_for_many(ledger: Ledger) -> None:
    with ledger.act("x", who="A", said="x") as act:
        lot = act.insert("lots", {"name": "Spring 100%_!", "count": 3})
        for number in ("10", "2", "1a"):
            state = "new" if number != "2" else "settled"
            told = {"number": number, "lot_id": lot, "state": state, "state_since": act.at}
            act.insert("reeds", {**told, "remarks": "Dark cane" if number == "2" else None})
    with ledger.reading() as reader:
        assert [row.number for row in reader.rows(ReedRecord, order="#number")] == ["2", "10", "1a"]
        assert len(reader.rows(LotRecord, like=(("name",), "spring 100%_!"))) == 1
        for none in ("100x", "spring 1000", "100_%"):
            assert reader.rows(LotRecord, like=(("name",), none)) == []
        assert reader.count(ReedRecord, {"state": "new"}, like=(("number",), "A")) == 1
        both = ("number", "remarks")
        assert [row.number for row in reader.rows(ReedRecord, like=(both, "dark"))] == ["2"]
        assert reader.count(ReedRecord, like=(both, "a")) == 2
        assert reader.counts(ReedRecord, "state") == {"new": 2, "settled": 1}
        assert reader.counts(ReedRecord, "state", least=2) == {"new": 2}
        assert [row.number for row in reader.of_many(ReedRecord, "lot_id", [lot, 99], order="number")] == [
            "10",
            "1a",
            "2",
        ]
        assert reader.of_many(ReedRecord, "lot_id", []) == []
        with pytest.raises(UnknownNameError, match="column"):
            reader.rows(ReedRecord, like=(("nothing",), "x"))


def test_the_newest_row_of_each(ledger: Ledger) -> None:
    with ledger.act("x", who="Ailsa", said="x") as act:
        reeds = [
            act.insert("reeds", {"number": number, "state": "new", "state_since": act.at}) for number in "123"
        ]
        for reed, at, minutes in (
            (reeds[0], "2026-03-02T12:00:00.000Z", 1.0),
            (reeds[0], "2026-03-01T12:00:00.000Z", 2.0),
            (reeds[1], "2026-03-01T12:00:00.000Z", 3.0),
            (reeds[1], "2026-03-01T12:00:00.000Z", 4.0),
        ):
            last = act.insert("plays", {"reed_id": reed, "at": at, "minutes": minutes})

    def newest() -> dict[Value, Value]:
        with ledger.reading() as reader:
            rows = reader.newest_of_many(PlayRecord, "reed_id", [*reeds, 99], order="at")
        return {row.reed_id: row.minutes for row in rows}

    assert newest() == {reeds[0]: 1.0, reeds[1]: 4.0}
    with ledger.reading() as reader:
        assert reader.sums(PlayRecord, "minutes", "reed_id", [*reeds, 99]) == {reeds[0]: 3.0, reeds[1]: 7.0}
        assert reader.sums(PlayRecord, "minutes", "reed_id", []) == {}
        read = reader.row(PlayRecord, last)
        assert reader.counts(ReedRecord, "state", like=(("number",), "2")) == {"new": 1}
    with ledger.act("x", who="Ailsa", said="x") as act:
        act.remove(read)
    assert newest() == {reeds[0]: 1.0, reeds[1]: 3.0}
    with ledger.reading() as reader:
        assert reader.sums(PlayRecord, "minutes", "reed_id", reeds) == {reeds[0]: 3.0, reeds[1]: 3.0}


def test_some_columns_of_some_rows(ledger: Ledger) -> None:
    with ledger.act("x", who="Ailsa", said="x") as act:
        owner = act.insert("players", {"name": "Effie"})
        for number, player in (("10", None), ("2", owner), ("3", None), ("1", None)):
            reed = act.insert(
                "reeds", {"number": number, "state": "new", "state_since": act.at, "player_id": player}
            )
            act.insert("plays", {"reed_id": reed, "at": "2026-03-02T12:00:00.000Z", "minutes": 1.0})
            last = act.insert("plays", {"reed_id": reed, "at": "2026-03-02T12:00:00.000Z", "minutes": 2.0})
            act.insert("plays", {"reed_id": reed, "at": "2026-03-01T12:00:00.000Z", "minutes": 3.0})
        act.remove(act.row(PlayRecord, last))
    with ledger.reading() as reader:

        def numbers(*among: tuple[str, list[Value], bool], limit: int | None = None) -> list[str]:
            rows = reader.columns(ReedRecord, ("number",), among=among, order="#number", limit=limit)
            return [number for (number,) in rows]

        assert numbers() == ["1", "2", "3", "10"]
        assert numbers(limit=2) == ["1", "2"]
        assert numbers(("player_id", [owner], True)) == ["2"]
        assert numbers(("player_id", [owner], False)) == ["1", "3", "10"]
        assert numbers(("player_id", [], True)) == []
        assert numbers(("player_id", [], False)) == ["1", "2", "3", "10"]
        assert numbers(("player_id", [owner], False), ("number", ["3", "2"], True)) == ["3"]
        names = ("reed_id", "minutes")
        newest = reader.newest_columns(PlayRecord, names, "reed_id", [1, 4, 99], order="at")
        assert sorted(newest) == [(1, 2.0), (4, 1.0)]
        assert reader.newest_columns(PlayRecord, names, "reed_id", [], order="at") == []
        with pytest.raises(UnknownNameError, match="column"):
            reader.columns(ReedRecord, ("nothing",))


def test_a_story_holds_what_was_removed_and_its_newest_acts(ledger: Ledger) -> None:
    lot, (reed, _) = take_in(ledger)
    with ledger.act("play", who="A", said="played") as act:
        play = act.insert("plays", {"reed_id": reed, "at": act.at, "minutes": 5.0})
    with ledger.act("remove", who="A", said="removed") as act:
        act.remove(act.row(PlayRecord, play))
    with ledger.reading() as reader:
        told = reader.story(ReedRecord, reed)
        assert [act.said for act in told] == ["took in spring", "played", "removed"]
        assert [len(act.changes) for act in told] == [3, 1, 1]
        assert [act.said for act in reader.story(ReedRecord, reed, newest=2)] == ["played", "removed"]
        assert len(reader.story(LotRecord, lot)) == 1


def test_a_story_is_told_in_a_few_queries_however_long_it_is(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)

    def queries() -> int:
        with ledger.reading() as reader:
            asked = Counting(reader.connection)
            reader.connection = asked
            reader.story(ReedRecord, reed)
        return asked.count

    short = queries()
    for _ in range(5):
        with ledger.act("play", who="A", said="played") as act:
            act.insert("plays", {"reed_id": reed, "at": act.at, "minutes": 5.0})
    assert queries() == short <= 3


class Counting:
    """Counts the queries that go through it."""

    def __init__(self, connection: Connection) -> None:
        self.connection, self.count = connection, 0

    def rows(self, sql: str, values: Sequence[Value] = ()) -> list[Row]:
        """One query more."""
        self.count += 1
        return self.connection.rows(sql, values)

    def tuples(self, sql: str, values: Sequence[Value] = ()) -> list[tuple[Any, ...]]:
        """One query more."""
        self.count += 1
        return self.connection.tuples(sql, values)

    def run(self, sql: str, values: Sequence[Value] = ()) -> int:
        """As it is."""
        return self.connection.run(sql, values)


def test_rows_in_order_and_in_pages(ledger: Ledger) -> None:
    take_in(ledger, count=7)
    with ledger.reading() as reader:
        down = reader.rows(ReedRecord, order="-number")
        assert [row.number for row in down] == [f"spring{i}" for i in range(6, -1, -1)]
        page = reader.rows(ReedRecord, order="number", limit=2, offset=3)
        assert [row.number for row in page] == ["spring3", "spring4"]
        assert [row.id for row in reader.rows(ReedRecord, order="-state", limit=3)] == [7, 6, 5]
        assert len(reader.rows(ReedRecord, {"remarks": None, "state": "new"}, limit=1)) == 1
        assert reader.rows(ReedRecord, {"state": "settled"}) == []


def test_a_reader_sees_one_state_while_a_writer_commits(ledger: Ledger) -> None:
    take_in(ledger, count=1)
    writer = threading.Thread(target=take_in, args=(ledger, "autumn"), kwargs={"count": 1})
    with ledger.reading() as reader:
        before = reader.dump()
        writer.start()
        writer.join(timeout=0.5)
        assert reader.count(ReedRecord) == 1
        assert reader.dump() == before
    writer.join()
    with ledger.reading() as reader:
        assert reader.count(ReedRecord) == 2


def test_readers_see_whole_acts_while_writers_go_on(ledger: Ledger) -> None:
    """Whatever state a reader meets holds a whole number of acts, the same at its second look."""
    seen: list[tuple[int, int, int]] = []

    def look() -> None:
        while writer.is_alive():
            with ledger.reading() as reader:
                seen.append((reader.count(LotRecord), reader.count(ReedRecord), reader.count(LotRecord)))

    def write() -> None:
        for number in range(25):
            take_in(ledger, f"lot{number}", count=3)
            time.sleep(0.01)

    writer = threading.Thread(target=write)
    watcher = threading.Thread(target=look)
    writer.start()
    watcher.start()
    writer.join()
    watcher.join()
    assert len({lots for lots, _, _ in seen}) > 1
    assert all(lots == again and reeds == 3 * lots for lots, reeds, again in seen)


def test_a_ledger_is_opened_again_as_it_was_left(dialect: str, fresh: Callable[[str], str]) -> None:
    url = fresh(dialect)
    take_in(open_ledger(url))
    before = dump_of(open_ledger(url))
    assert len(before["reeds"]) == 2
    assert dump_of(open_ledger(url)) == before
