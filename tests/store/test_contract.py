"""One contract for both databases: what an act keeps, what it refuses, what undo gives back."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canebench.base.errors import InputError, NotFoundError
from canebench.store.ledger import BIN_DAYS, Ledger, open_ledger
from canebench.store.writer import StaleEditError

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import timedelta

    from canebench.store.tables import Row, Value
    from support.ledgers import Clock


class StopHereError(Exception):
    """Raised by a test in the middle of an act."""


def take_in(ledger: Ledger, name: str = "spring", *, count: int = 2) -> tuple[int, list[int]]:
    """A lot with reeds; their ids."""
    with ledger.act("take-in", who="Ailsa", said=f"took in {name}") as act:
        lot = act.insert("lots", {"name": name, "count": count})
        reeds = [
            act.insert(
                "reeds", {"number": f"{name}{i}", "lot_id": lot, "state": "new", "state_since": act.at}
            )
            for i in range(count)
        ]
    return lot, reeds


def _row(ledger: Ledger, table: str, row_id: int) -> Row:
    with ledger.reading() as reader:
        return reader.row(table, row_id)


def test_what_is_told_is_kept_with_who_and_when(ledger: Ledger) -> None:
    lot, reeds = take_in(ledger)
    assert _row(ledger, "lots", lot)["name"] == "spring"
    with ledger.reading() as reader:
        act = reader.history()[0]
        assert (act.who, act.kind, act.said) == ("Ailsa", "take-in", "took in spring")
        assert act.at.startswith("2026-03-01T12:00:")
        assert reader.count("reeds") == 2
        assert [one.id for one in reader.story("reeds", reeds[0])] == [act.id]


def test_a_change_counts_the_version_and_a_stale_one_is_refused(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    read = _row(ledger, "reeds", reed)
    with ledger.act("remark", who="Ailsa", said="first") as act:
        act.update("reeds", reed, {"remarks": "dark cane"}, read=read)
    with (
        pytest.raises(StaleEditError, match=r"None then, 'dark cane' now") as refused,
        ledger.act("remark", who="Bram", said="second") as act,
    ):
        act.update("reeds", reed, {"remarks": "light cane"}, read=read)
    assert refused.value.read["remarks"] is None
    assert refused.value.now["remarks"] == "dark cane"
    assert _row(ledger, "reeds", reed)["version"] == 2
    with ledger.reading() as reader:
        assert reader.history()[0].said == "first"


def test_an_act_is_all_or_nothing(ledger: Ledger) -> None:
    before = _dump(ledger)
    with pytest.raises(StopHereError):
        _break_off(ledger)
    assert _dump(ledger) == before
    take_in(ledger)
    assert _dump(ledger) != before


def _break_off(ledger: Ledger) -> None:
    with ledger.act("take-in", who="Ailsa", said="broken off") as act:
        act.insert("lots", {"name": "half", "count": 1})
        raise StopHereError


def _dump(ledger: Ledger) -> dict[str, list[Row]]:
    with ledger.reading() as reader:
        return reader.dump()


def test_an_act_that_changes_nothing_leaves_no_trace(ledger: Ledger) -> None:
    with ledger.act("look", who="Ailsa", said="nothing"):
        pass
    with ledger.reading() as reader:
        assert reader.history() == []


def test_undo_gives_back_what_was_there_and_can_itself_be_undone(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    read = _row(ledger, "reeds", reed)
    with ledger.act("move", who="Ailsa", said="on trial") as act:
        act.update("reeds", reed, {"state": "on trial"}, read=read)
        moved = act.act_id
    undone = ledger.undo(moved, who="Bram")
    assert _row(ledger, "reeds", reed)["state"] == "new"
    with pytest.raises(InputError, match="it was undone"):
        ledger.undo(moved, who="Bram")
    ledger.undo(undone, who="Bram")
    assert _row(ledger, "reeds", reed)["state"] == "on trial"


def test_undo_of_a_new_row_puts_it_into_the_bin_and_back(ledger: Ledger) -> None:
    take_in(ledger)
    with ledger.reading() as reader:
        act = reader.history()[0].id
    undone = ledger.undo(act, who="Ailsa")
    with ledger.reading() as reader:
        assert reader.count("reeds") == 0
        assert len(reader.rows("reeds", removed=True)) == 2
    ledger.undo(undone, who="Ailsa")
    with ledger.reading() as reader:
        assert reader.count("reeds") == 2


def test_undo_is_refused_where_something_came_after(ledger: Ledger) -> None:
    _, (reed, _) = take_in(ledger)
    with ledger.act("move", who="Ailsa", said="on trial") as act:
        act.update("reeds", reed, {"state": "on trial"}, read=act.row("reeds", reed))
        first = act.act_id
    with ledger.act("move", who="Ailsa", said="breaking in") as act:
        act.update("reeds", reed, {"state": "breaking in"}, read=act.row("reeds", reed))
    with pytest.raises(StaleEditError, match="changed by someone else"):
        ledger.undo(first, who="Ailsa")
    with ledger.act("play", who="Ailsa", said="played") as act:
        act.insert("plays", {"reed_id": reed, "at": act.at, "minutes": 5})
    with ledger.reading() as reader:
        taken_in = reader.history()[-1].id
    with pytest.raises((StaleEditError, InputError)):
        ledger.undo(taken_in, who="Ailsa")


def test_what_others_refer_to_is_not_removed(ledger: Ledger) -> None:
    lot, reeds = take_in(ledger)
    with pytest.raises(InputError, match="a reed refers to it"), ledger.act("x", who="A", said="x") as act:
        act.remove("lots", lot, read=act.row("lots", lot))
    with ledger.act("remove", who="A", said="removed") as act:
        for reed in reeds:
            act.remove("reeds", reed, read=act.row("reeds", reed))
        act.remove("lots", lot, read=act.row("lots", lot))
    with ledger.reading() as reader:
        assert reader.count("lots") == 0


def test_the_bin_is_kept_for_thirty_days(ledger: Ledger, clock: Clock) -> None:
    lot, _ = take_in(ledger, count=1)
    with ledger.reading() as reader:
        act = reader.history()[0].id
    ledger.undo(act, who="A")
    assert ledger.empty_bin(who="A") == 0
    clock.now += _days(BIN_DAYS + 1)
    assert ledger.empty_bin(who="A") == 2
    with pytest.raises(NotFoundError, match="no lot"):
        _row(ledger, "lots", lot)


def _days(count: int) -> timedelta:
    from datetime import timedelta  # noqa: PLC0415

    return timedelta(days=count)


def test_numbers_are_never_used_twice(ledger: Ledger, clock: Clock) -> None:
    first, _ = take_in(ledger, count=1)
    with ledger.reading() as reader:
        act = reader.history()[0].id
    ledger.undo(act, who="A")
    clock.now += _days(BIN_DAYS + 1)
    ledger.empty_bin(who="A")
    second, _ = take_in(ledger, count=1)
    assert second > first


@pytest.mark.parametrize(
    ("table", "values", "said"),
    [
        ("lots", {"name": "x"}, "it is needed"),
        ("lots", {"name": "x", "count": 0}, "from 1 to 10000"),
        ("lots", {"name": "x", "count": 1.5}, "whole number"),
        ("lots", {"name": 7, "count": 1}, "text is needed"),
        ("lots", {"name": "x\x00", "count": 1}, "plain text"),
        ("lots", {"name": "x", "count": 1, "bought_on": "soon"}, "a date like"),
        ("lots", {"name": "x", "count": 1, "colour": "dark"}, "colour"),
        ("reeds", {"number": "1", "state": "asleep", "state_since": "2026-01-01"}, "one of new"),
        ("reeds", {"number": "1", "state": "new", "state_since": "2026-01-01", "lot_id": 99}, "no such lot"),
        ("players", {"name": "x", "blows_kpa": math.nan}, "a number is needed"),
        ("players", {"name": "x", "blows_kpa": 300.0}, "kPa is allowed"),
        ("tables", {}, "table"),
    ],
)
def test_what_cannot_be_is_refused_by_name(
    ledger: Ledger, table: str, values: dict[str, Value], said: str
) -> None:
    before = _dump(ledger)
    with pytest.raises(InputError, match=said), ledger.act("x", who="A", said="x") as act:
        act.insert(table, values)
    assert _dump(ledger) == before


def test_a_name_stands_once_also_in_the_bin(ledger: Ledger) -> None:
    take_in(ledger, count=1)
    with pytest.raises(InputError, match="there already"):
        take_in(ledger, count=1)
    with ledger.reading() as reader:
        act = reader.history()[0].id
    ledger.undo(act, who="A")
    with pytest.raises(InputError, match="in the bin"):
        take_in(ledger, count=1)


@pytest.mark.parametrize("value", [0.1 + 0.2, 1e-300, 29.999999999999996, 5e-324, 7.0, -0.0])
def test_numbers_come_back_to_the_last_digit(ledger: Ledger, value: float) -> None:
    with ledger.act("player", who="A", said="x") as act:
        player = act.insert("players", {"name": "x", "blows_kpa": value})
    kept = _row(ledger, "players", player)["blows_kpa"]
    assert isinstance(kept, float)
    assert kept == value


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(text=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=60))
def test_text_comes_back_as_it_was(ledger: Ledger, text: str) -> None:
    with ledger.act("player", who="A", said="x") as act:
        known = act.find("players", "name", "x")
        player = int(known["id"] or 0) if known else act.insert("players", {"name": "x"})
        act.update("players", player, {"remarks": text}, read=act.row("players", player))
    assert _row(ledger, "players", player)["remarks"] == text


def test_readers_see_one_state(ledger: Ledger) -> None:
    take_in(ledger, count=1)
    with ledger.reading() as reader:
        assert reader.count("reeds") == 1
        if ledger.database.dialect == "postgresql":
            take_in(ledger, "autumn", count=1)
        assert reader.count("reeds") == 1


def test_rows_in_order_and_in_pages(ledger: Ledger) -> None:
    take_in(ledger, count=7)
    with ledger.reading() as reader:
        down = reader.rows("reeds", order="-number")
        assert [row["number"] for row in down] == [f"spring{i}" for i in range(6, -1, -1)]
        page = reader.rows("reeds", order="number", limit=2, offset=3)
        assert [row["number"] for row in page] == ["spring3", "spring4"]
        assert reader.rows("reeds", {"remarks": None, "state": "new"}, limit=1)
        with pytest.raises(InputError, match="column of reeds"):
            reader.rows("reeds", {"id; DROP TABLE reeds": 1})


_STEPS = st.lists(
    st.tuples(
        st.sampled_from(["lot", "move", "play", "undo", "remove", "bin"]),
        st.integers(0, 5),
        st.sampled_from(["on trial", "settled", "retired"]),
    ),
    max_size=25,
)


def _do(ledger: Ledger, clock: Clock, step: tuple[str, int, str]) -> str:
    """One random act; what it came to, in words."""
    what, which, state = step
    try:
        if what == "lot":
            take_in(ledger, f"lot{which}", count=2)
        elif what == "undo":
            with ledger.reading() as reader:
                acts = reader.history()
            if acts:
                ledger.undo(acts[which % len(acts)].id, who="A")
        elif what == "bin":
            clock.now += _days(which * 10)
            ledger.empty_bin(who="A")
        else:
            with ledger.act(what, who="A", said=state) as act:
                reeds = act.rows("reeds")
                if not reeds:
                    return "no reed"
                reed = reeds[which % len(reeds)]
                if what == "move":
                    act.update("reeds", int(reed["id"] or 0), {"state": state}, read=reed)
                elif what == "play":
                    act.insert("plays", {"reed_id": reed["id"], "at": act.at, "minutes": which})
                else:
                    act.remove("reeds", int(reed["id"] or 0), read=reed)
    except (InputError, StaleEditError, NotFoundError) as error:
        return f"{type(error).__name__}: {error}"
    return "done"


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(steps=_STEPS)
def test_a_random_sequence_of_acts_leaves_equal_dumps(
    fresh: Callable[[str], str], steps: list[tuple[str, int, str]]
) -> None:
    from support.ledgers import Clock  # noqa: PLC0415

    told, dumps = [], []
    for dialect in ("sqlite", "postgresql"):
        clock = Clock()
        ledger = open_ledger(fresh(dialect), clock=clock)
        told.append([_do(ledger, clock, step) for step in steps])
        dumps.append(_dump(ledger))
    assert told[0] == told[1]
    assert dumps[0] == dumps[1]
