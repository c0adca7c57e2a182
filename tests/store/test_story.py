"""Stories of rows that much refers to: the same acts from either end, in pages, in a few queries."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest

from canebench.store import story
from canebench.store.records import RECORDS, ChanterRecord, TakeRecord

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord
    from canebench.store.writer import Writer

ROOT = [("chanters", "chanter_id"), ("players", "player_id"), ("reeds", "reed_id")]


def take(act: Writer, *, of: int, origin: str) -> int:
    """A take of row `of` in reed, chanter and player alike, with a pitch."""
    refers = {"reed_id": of, "chanter_id": of, "player_id": of}
    fixed = {"source": "typed", "scale": "harmonic", "reference": "low-a"}
    made = act.insert("takes", {**refers, **fixed, "at": act.at, "origin": origin})
    act.insert("pitches", {"take_id": made, "note": "E", "hz": 700.0})
    return made


@pytest.fixture
def busy(ledger: Ledger) -> Ledger:
    """Two of each, and some 120 acts: takes, several at once, changed, removed, brought back."""
    chance, takes = random.Random(5), list[int]()  # noqa: S311
    with ledger.act("begin", who="A", said="begin") as act:
        for name in ("1", "2"):
            act.insert("chanters", {"name": name})
            act.insert("players", {"name": name})
            act.insert("reeds", {"number": name, "state": "new", "state_since": act.at})
    for turn in range(90):
        with ledger.act("take", who="A", said=f"take {turn}") as act:
            made = [take(act, of=1 + (turn % 3 == 0), origin="x") for _ in range(chance.choice((1, 1, 3)))]
            last = act.act_id
        takes += made
        if turn % 7 == 0:
            ledger.undo(last, who="A")
            takes = [one for one in takes if one not in made]
        if turn % 5 == 0 and takes:
            one = chance.choice(takes)
            with ledger.act("change", who="A", said=f"changed {one}") as act:
                act.update(act.row(TakeRecord, one), {"remarks": f"{turn}"})
    return ledger


def told(ledger: Ledger, table: str, **page: int) -> list[ActRecord]:
    with ledger.reading() as reader:
        return reader.story(RECORDS[table], 1, **page)


@pytest.mark.parametrize(("table", "column"), ROOT)
def test_every_page_is_a_piece_of_the_whole_story(busy: Ledger, table: str, column: str) -> None:
    whole = told(busy, table)
    with busy.reading() as reader:
        rows = reader.connection.rows(f"SELECT id FROM takes WHERE {column} = 1")  # noqa: S608
        mine = {("takes", int(row["id"] or 0)) for row in rows} | {(table, 1)}
        every = [reader.act(record.id) for record in reader.history(limit=1_000)][::-1]
    assert whole == [act for act in every if mine & {(change[0], change[1]) for change in act.changes}]
    assert any(act.kind == "undo" for act in whole)
    assert any(after is not None and after["removed_at"] for act in whole for *_, after in act.changes)
    for newest in (1, 2, 7, 50, 10_000):
        for skip in (0, 1, 13, 80):
            page = whole[: len(whole) - skip][-newest:] if skip < len(whole) else []
            assert told(busy, table, newest=newest, skip=skip) == page


@pytest.mark.parametrize("table", ["takes", "chanters"])
def test_versions_of_rows_are_what_their_stories_tell_of_them(busy: Ledger, table: str) -> None:
    """Control: a story tells of other rows too, and of what was undone."""
    record = RECORDS[table]
    with busy.reading() as reader:
        ids = [row["id"] for row in reader.connection.rows(f"SELECT id FROM {table}")]  # noqa: S608
        changes = {
            one: [change for act in reader.story(record, one) for change in act.changes] for one in ids
        }
        assert reader.versions(record, [*ids, 10**6]) == {
            one: [
                after
                for name, row_id, _, after in changes.get(one, [])
                if (name, row_id) == (table, one) and after
            ]
            for one in (*ids, 10**6)
        }
        assert reader.versions(record, []) == {}
    assert any(name != table for told in changes.values() for name, *_ in told)
    assert table == "chanters" or any(
        after and after["removed_at"] for told in changes.values() for *_, after in told
    )


@pytest.mark.parametrize("ahead", [0, 10**9])
def test_either_end_gives_the_same(busy: Ledger, monkeypatch: pytest.MonkeyPatch, ahead: int) -> None:
    expected = told(busy, "chanters")[-20:]
    walked: list[int | None] = []
    whence = story._walk_from

    def watched(*given: object) -> int | None:
        walked.append(whence(*given))  # type: ignore[arg-type]
        return walked[-1]

    monkeypatch.setattr(story, "_walk_from", watched)
    monkeypatch.setattr(story, "_LOOKED_UP", ahead)
    assert told(busy, "chanters", newest=20) == expected
    assert (walked[0] is not None) == (ahead == 0)


def test_control_a_walk_that_is_too_short_would_lose_acts(
    busy: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = told(busy, "chanters")
    with monkeypatch.context() as broken:
        broken.setattr(story, "_walk_from", lambda *_: whole[-10].id)
        assert len(told(busy, "chanters", newest=20)) == 20
        broken.setattr(story, "_looked_up", lambda *_: [])
        assert told(busy, "chanters", newest=20) == []


def test_nothing_but_its_own_act_where_nothing_refers_to_it(ledger: Ledger) -> None:
    with ledger.act("begin", who="A", said="begin") as act:
        act.insert("chanters", {"name": "1"})
    assert [act.said for act in told(ledger, "chanters", newest=5)] == ["begin"]
    assert told(ledger, "chanters", newest=5, skip=1) == []
    with ledger.reading() as reader:
        for nothing in (0, -1, 2, 2**70):
            assert reader.story(ChanterRecord, nothing, newest=5) == []
