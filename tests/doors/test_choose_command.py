"""Choosing from the command: what the ledger has of a reed's state, owner, mouths, pinches and readings."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.begin_fitting import begin_fitting
from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.acts.reeds.choose_reeds import choose_for
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, log_strength, rest_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.store.ledger import Ledger, open_ledger
from canebench.store.records import PlayerRecord, ReedRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.reeds.choice import Choice
    from support.ledgers import Clock

_WHO = "tester"
_HZ = (418.5, 476.4, 535.0, 592.0, 636.0, 714.0, 792.0, 832.5, 953.0)


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Five reeds, all read alike but for the last, which nobody has read; Isla blows a little less."""
    made = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(made, who=_WHO, name="spring", count=5)
    set_player(made, "Isla", who=_WHO, blows="28 inH2O", ceiling="34 inH2O")
    set_player(made, "Effie", who=_WHO, blows="28 inH2O")
    for number in "1234":
        _read(made, number, "30 inH2O")
    return made


def _read(ledger: Ledger, number: str, playing: str) -> None:
    log_strength(ledger, number, {"playing": playing}, who=_WHO)


def _take(ledger: Ledger, number: str, *notes: str) -> None:
    with ledger.act("chanter", who=_WHO, said="x") as act:
        act.insert("chanters", {"name": f"of {number}"})
    readings = {
        note: Typed(value=hz, unit="Hz") for note, hz in zip(NOTES, _HZ, strict=True) if note in notes
    }
    place = Place(reed=number, chanter=f"of {number}")
    fit_reed(ledger, FitRequest(heard=readings, done=0), place=place, who=_WHO)


def _found(ledger: Ledger, player: str = "Isla") -> dict[str, Choice]:
    """Each reed's choice by its number, best first."""
    found = choose_for(ledger, player)
    return {one.number: one for one in (*found.choices, *found.apart)}


def test_reeds_that_are_alike_tie(ledger: Ledger) -> None:
    """Control: nothing puts the reed behind that the tests below put there."""
    found = _found(ledger)
    assert list(found) == ["1", "2", "3", "4", "5"]
    assert found["1"].tied_with == ("2", "3", "4")


def test_what_is_set_aside_is_named_apart(ledger: Ledger) -> None:
    move_reed(ledger, "1", to="set aside", reason="chip in the lower blade", who=_WHO)
    found = _found(ledger)
    assert list(found) == ["2", "3", "4", "5", "1"]
    assert not found["1"].offered
    assert found["1"].reasons == ("chip in the lower blade",)


def test_anothers_reed_comes_after_for_all_but_its_owner(ledger: Ledger) -> None:
    with ledger.act("give", who=_WHO, said="x") as act:
        effie, reed = act.find(PlayerRecord, "name", "Effie"), act.find(ReedRecord, "number", "1")
        assert effie is not None
        assert reed is not None
        act.update(reed, {"player_id": effie.id})
    assert list(_found(ledger)) == ["2", "3", "4", "1", "5"]
    assert "belongs to Effie" in _found(ledger)["1"].reasons
    assert next(iter(_found(ledger, "Effie"))) == "1"
    assert not any("belongs" in reason for reason in _found(ledger, "Effie")["1"].reasons)


def test_a_reed_rests_as_long_as_was_written_down(ledger: Ledger, clock: Clock) -> None:
    rest_reed(ledger, "1", player="Effie", who=_WHO, rest_h=120.0)
    clock.pass_days(3)
    assert list(_found(ledger)) == ["2", "3", "4", "1", "5"]
    assert _found(ledger)["1"].then == "wait"
    assert any("rests from the mouth of Effie until 2026-03-06" in r for r in _found(ledger)["1"].reasons)
    assert _found(ledger, "Effie")["1"].then == "fit"
    clock.pass_days(2)
    assert _found(ledger)["1"].then == "fit"


def test_a_reading_from_before_the_pinch_is_marked_until_the_next(ledger: Ledger) -> None:
    ease_reed(ledger, "1", how="pinch", who=_WHO)
    found = _found(ledger)
    assert list(found) == ["2", "3", "4", "1", "5"]
    assert "before the pinch" in found["1"].verdict
    _read(ledger, "1", "30 inH2O")
    assert _found(ledger)["1"].verdict == "suits now"
    ease_reed(ledger, "1", how="other", who=_WHO)
    assert "before it was eased" in _found(ledger)["1"].verdict


def test_five_pinches_put_a_reed_behind_all_that_were_read(ledger: Ledger) -> None:
    """As it was seen: pinched five times after it was read, and ranked first."""
    for _ in range(5):
        ease_reed(ledger, "1", how="pinch", who=_WHO, insist=True)
    _read(ledger, "4", "38 inH2O")
    assert list(_found(ledger)) == ["2", "3", "1", "4", "5"]
    _read(ledger, "1", "30 inH2O")
    found = _found(ledger)
    assert list(found) == ["2", "3", "1", "4", "5"]
    assert found["1"].verdict == "only if no other will do"
    # However often one insisted, a reed above the ceiling is not advised.
    _read(ledger, "1", "35 inH2O")
    assert _found(ledger)["1"].verdict == "leave for another"


def test_by_mouth_counts_from_the_other_reed_as_it_was_then(ledger: Ledger, clock: Clock) -> None:
    log_strength(ledger, "5", {}, who=_WHO, by_mouth="same", than="1")
    before = _found(ledger)["5"]
    assert before.reasons[0].startswith("0.5 kPa above")
    clock.pass_days(10)
    _read(ledger, "1", "24 inH2O")
    ease_reed(ledger, "1", how="pinch", who=_WHO)
    after = _found(ledger)["5"]
    assert after.reasons[0] == before.reasons[0].replace("read today", "read 10 days ago")
    assert "pinch" in _found(ledger)["1"].verdict
    # A comparison after the pinch, with a reading from before it, is worth no more than that reading.
    log_strength(ledger, "5", {}, who=_WHO, by_mouth="same", than="1")
    assert "before the pinch" in _found(ledger)["5"].verdict


def test_balance_is_told_only_by_a_take_that_heard_it_as_it_is_now(ledger: Ledger) -> None:
    _take(ledger, "1", "low A", "high A")
    one = _found(ledger)["1"]
    assert "octave right" in one.reasons
    assert not any(reason.startswith("balance") for reason in one.reasons)
    assert "balance at low G, B, C, D, E, F, high G" in one.missing
    _take(ledger, "2", *NOTES)
    two = _found(ledger)["2"]
    assert any(reason.startswith("balance") for reason in two.reasons)
    assert not any(name.startswith("balance") for name in two.missing)
    ease_reed(ledger, "2", how="pinch", who=_WHO)
    _read(ledger, "2", "30 inH2O")
    eased = _found(ledger)["2"]
    assert not any(reason.startswith(("balance", "octave")) for reason in eased.reasons)
    assert "balance" in eased.missing


def test_the_command_names_apart_what_is_not_offered(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    move_reed(ledger, "1", to="set aside", reason="chip in the lower blade", who=_WHO)
    page = " ".join(run("choose", "Isla").stdout.split())
    assert "Not offered: 1 (set aside, chip in the lower blade)." in page
    assert "3 of 3 pinches left" in page
    assert "days ago)" in page
    found: list[dict[str, Any]] = json.loads(run("choose", "Isla", "--json").stdout)
    assert [(one["reed"], one["offered"]) for one in found][-1] == ("1", False)
    assert found[0]["then"] == "fit"
    # The control: moved on, it is offered again.
    move_reed(ledger, "1", to="on trial", reason="in another chanter", who=_WHO)
    assert "Not offered" not in run("choose", "Isla").stdout


def test_however_many_reasons_there_are_all_are_told(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control is their length: in one line of a table they would not stand."""
    monkeypatch.setenv("CANEBENCH_LEDGER", str(tmp_path / "ledger.db"))
    owner = "Somebody whose name is so long that it fills a line of the terminal by itself, and more"
    set_player(ledger, owner, who=_WHO)
    _take(ledger, "2", "low A", "high A", "E", "C")
    begin_fitting(ledger, Place(reed="2", chanter="of 2", player=owner), who=_WHO)
    found: list[dict[str, Any]] = json.loads(run("choose", "Isla", "--json").stdout)
    reasons = next(one["reasons"] for one in found if one["reed"] == "2")
    assert len("; ".join(reasons)) > 150
    printed = run("choose", "Isla").stdout
    page = " ".join(printed.split())
    for reason in reasons:
        assert reason[1:] in page
    assert max(len(line) for line in printed.splitlines()) <= 80
