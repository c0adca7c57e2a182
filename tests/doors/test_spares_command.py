"""Settled reeds by player, from the ledger: what suits, what is lacking, what is not known."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError, NotFoundError
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, play_reed, rest_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.ahead.spares import PlayerSupply, spares
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import PlayerRecord, ReedRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from support.ledgers import Clock

_WHO = "tester"


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Six settled reeds, one being broken in; Morag and Effie blow 28 inches, of Ewan it is not told."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=7)
    set_player(made, "Morag", who=_WHO, blows="28 inH2O", ceiling="29 inH2O")
    set_player(made, "Effie", who=_WHO, blows="28 inH2O")
    set_player(made, "Ewan", who=_WHO)
    for number in range(1, 8):
        move_reed(made, f"{number}", to="breaking in", reason="in tune", who=_WHO)
        if number < 7:
            move_reed(made, f"{number}", to="settled", reason="steady", who=_WHO)
            log_strength(made, f"{number}", {"playing": "28 inH2O"}, who=_WHO)
    return made


def _give(ledger: Ledger, number: str, player: str) -> None:
    with ledger.act("x", who=_WHO, said="x") as act:
        reed, person = act.find(ReedRecord, "number", number), act.find(PlayerRecord, "name", player)
        assert reed is not None
        assert person is not None
        act.update(reed, {"player_id": person.id})


def _of(ledger: Ledger, name: str, each: int = 2) -> PlayerSupply:
    (found,) = [one for one in spares(ledger, each=each).players if one.player.name == name]
    return found


def test_each_has_two_and_the_rest_are_free(ledger: Ledger) -> None:
    _give(ledger, "7", "Morag")
    found = spares(ledger)
    assert [(one.player.name, len(one.ready), one.lacking) for one in found.players] == [
        ("Effie", 2, 0),
        ("Morag", 2, 0),
    ]
    assert found.untold == ("Ewan",)
    assert len(found.free) == 2
    assert found.said == ("Nobody lacks one.",)
    assert _of(ledger, "Morag").coming == 1
    assert _of(ledger, "Effie").coming == 0
    # What is set aside is no spare.
    for number in "3456":
        move_reed(ledger, number, to="set aside", reason="a chip", who=_WHO)
    assert [one.lacking for one in spares(ledger).players] == [1, 1]
    assert spares(ledger).said == ("2 reeds are lacking in all.",)


def test_an_eased_reed_is_to_be_read_first(ledger: Ledger) -> None:
    ease_reed(ledger, "1", how="pinch", who=_WHO)
    found = spares(ledger)
    assert [reed.number for reed in found.unread] == ["1"]
    assert "1 settled reed has no reading since the last ease, or none" in found.said[-1]
    log_strength(ledger, "1", {"playing": "28 inH2O"}, who=_WHO)
    assert spares(ledger).unread == ()


def test_the_one_that_has_lain_longest_is_next_unless_it_rests(ledger: Ledger, clock: Clock) -> None:
    for number in ("1", "2"):
        _give(ledger, number, "Morag")
    play_reed(ledger, "1", minutes=20, who=_WHO, player="Morag")
    clock.pass_days(1)
    play_reed(ledger, "2", minutes=20, who=_WHO, player="Morag")
    ready = {one.reed.number: one for one in _of(ledger, "Morag").ready}
    assert (ready["1"].next, ready["2"].next) == (True, False)
    assert "last played 2026-03-01" in ready["1"].said
    rest_reed(ledger, "1", player="Effie", who=_WHO)
    ready = {one.reed.number: one for one in _of(ledger, "Morag").ready}
    assert (ready["1"].next, ready["2"].next) == (False, True)
    assert "rests from the mouth of Effie" in ready["1"].said


def test_what_cannot_be_asked_is_refused(ledger: Ledger) -> None:
    with pytest.raises(InputError, match="1 to 5"):
        spares(ledger, each=6)
    with pytest.raises(NotFoundError, match="Mora"):
        spares(ledger, players=["Mora"])


def test_the_command_tells_it(ledger: Ledger, tmp_path: Path) -> None:
    told = run("spares", "--ledger", f"{tmp_path}/ledger.db")
    assert "plays at 28.0 inH2O" in told.stdout
    assert "Ewan" in told.stdout
    found = json.loads(run("spares", "--each", "4", "--json", "--ledger", f"{tmp_path}/ledger.db").stdout)
    assert sorted(one["lacking"] for one in found["players"]) == [1, 1]
    assert found["strength_not_told"] == ["Ewan"]
    alone = run("spares", "--player", "Effie", "--json", "--ledger", f"{tmp_path}/ledger.db").stdout
    assert [one["player"] for one in json.loads(alone)["players"]] == ["Effie"]
    assert ledger is not None
