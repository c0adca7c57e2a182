"""What a row holds is what its acts tell: whatever else is there is said, in either database."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.store.records import LotRecord
from support.ledgers import amiss_of, last_act, take_in

if TYPE_CHECKING:
    from canebench.store.ledger import Ledger
    from support.ledgers import Clock


@pytest.fixture
def filled(ledger: Ledger, clock: Clock) -> Ledger:
    """Rows new, changed, undone, in the bin and gone for good; an act that changed nothing."""
    lot, _ = take_in(ledger, "spring", count=3)
    with ledger.act("remark", who="Bram", said="a remark") as act:
        act.update(act.row(LotRecord, lot), {"remarks": "fine cane, Ω"})
    take_in(ledger, "summer")
    ledger.undo(last_act(ledger), who="Ailsa")
    clock.pass_days(40)
    assert ledger.empty_bin(who="Ailsa")
    with ledger.act("nothing", who="Ailsa", said="nothing"):
        pass
    with ledger.act("many", who="Ailsa", said="players") as act:
        act.insert_many("players", [{"name": name} for name in "abc"])
    return ledger


def test_what_was_written_is_whole(filled: Ledger) -> None:
    assert amiss_of(filled) == []


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE lots SET name = 'Spring'", "lot 1 is not as its acts tell"),
        ("UPDATE reeds SET number = 'x' WHERE id = 2", "reed 2 is not as its acts tell"),
        ("UPDATE reeds SET lot_id = NULL WHERE id = 2", "reed 2 is not as its acts tell"),
        ("UPDATE players SET version = 2 WHERE id = 1", "player 1 is not as its acts tell"),
        ("UPDATE players SET remarks = '' WHERE id = 1", "player 1 is not as its acts tell"),
        ("UPDATE players SET removed_at = '2026' WHERE id = 1", "player 1 is not as its acts tell"),
        ("DELETE FROM players WHERE id = 3", "player 3 is not as its acts tell"),
        ("INSERT INTO players (id, version, name) VALUES (4, 1, 'd')", "player 4 is not as its acts tell"),
        ("UPDATE acts SET said = 'A remark' WHERE id = 2", "act 2, or the one before it"),
        ("UPDATE acts SET at = '2025' WHERE id = 1", "act 1, or the one before it"),
        ("UPDATE acts SET digest = NULL WHERE id = 3", "act 3, or the one before it"),
        ("UPDATE acts SET undone_by = NULL WHERE id = 3", "what undid it do not agree"),
        ("UPDATE acts SET undoes = NULL WHERE undoes IS NOT NULL", "what undid it do not agree"),
        ("UPDATE changes SET place = 9 WHERE act_id = 1 AND place = 4", "act 1, or the one before it"),
        ("UPDATE changes SET row_id = 99 WHERE act_id = 1 AND place = 4", "act 1, or the one before it"),
        ("UPDATE changes SET after = before WHERE act_id = 2", "act 2, or the one before it"),
        ("UPDATE changes SET before = '{' WHERE act_id = 2", "act 2, or the one before it"),
        ("UPDATE changes SET before = '[]' WHERE act_id = 2", "its rows cannot be read"),
        ("UPDATE counters SET used = 2 WHERE name = 'players'", "the counter of players"),
        ("UPDATE counters SET used = 1 WHERE name = 'acts'", "the counter of acts"),
        ("DELETE FROM counters WHERE name = 'lots'", "the counter of lots"),
        ("UPDATE counters SET name = 'chanters' WHERE name = 'lots'", "the counter of chanters"),
    ],
)
def test_what_was_not_written_by_an_act_is_told(filled: Ledger, statement: str, said: str) -> None:
    with filled.database.write() as connection:
        assert connection.run(statement)
    assert any(said in one for one in amiss_of(filled)) or "cannot be read" in amiss_of(filled)[0]


def test_many_damages_are_told_briefly(filled: Ledger) -> None:
    with filled.act("many", who="Ailsa", said="players") as act:
        act.insert_many("players", [{"name": f"{n}"} for n in range(100)])
    with filled.database.write() as connection:
        connection.run("UPDATE players SET remarks = 'x'")
    found = amiss_of(filled)
    assert len(found) == 21
    assert found[-1] == "and 83 more"


def test_a_column_that_came_later_is_no_damage(filled: Ledger) -> None:
    """As a migration adds it: what acts told before says nothing of it."""
    with filled.database.write() as connection:
        for row in connection.rows("SELECT act_id, place, after FROM changes WHERE in_table = 'players'"):
            after = row["after"].replace('"remarks": null, ', "")
            assert after != row["after"]
            sql = "UPDATE changes SET after = ? WHERE act_id = ? AND place = ?"
            connection.run(sql, [after, row["act_id"], row["place"]])
        connection.run("UPDATE players SET remarks = 'from a migration'")
    assert [one for one in amiss_of(filled) if "act" not in one.split()[0]] == []
    # Control: a column that they tell of.
    with filled.database.write() as connection:
        connection.run("UPDATE players SET name = 'x' WHERE id = 1")
    assert "player 1 is not as its acts tell" in amiss_of(filled)
