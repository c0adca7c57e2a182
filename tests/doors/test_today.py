"""What needs somebody today: each kind when it does, and not before or after."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import ease_reed, play_reed, rest_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.home.today import today
from canebench.store.ledger import Ledger, open_ledger

if TYPE_CHECKING:
    from pathlib import Path

    from support.ledgers import Clock


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Four reeds, two players, a chanter."""
    ledger = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(ledger, who="A", name="spring", count=4)
    for name in ("Morag", "Effie"):
        set_player(ledger, name, who="A")
    keep_chanter(ledger, "one", who="A", sizes=None)
    return ledger


def _play(ledger: Ledger, reed: str) -> None:
    heard = {"low A": Typed(value=478.0, unit="Hz"), "high A": Typed(value=956.0, unit="Hz")}
    fit_reed(ledger, FitRequest(heard=heard), place=Place(reed=reed, chanter="one"), who="A")


def _needs(ledger: Ledger, kind: str) -> list[str]:
    return [need.reed.number for need in today(ledger).needs if need.kind == kind]


def test_a_new_ledger_is_empty_and_a_box_ends_that(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "other.db"))
    set_player(ledger, "Morag", who="A")
    assert today(ledger).empty
    take_in_lot(ledger, who="A", name="spring", count=1)
    assert not today(ledger).empty
    assert today(ledger).going is None


def test_the_last_fitting_goes_on_and_the_others_were_begun(ledger: Ledger) -> None:
    for reed in ("1", "2", "3"):
        _play(ledger, reed)
    found = today(ledger)
    assert found.going is not None
    assert found.going.reed.number == "3"
    assert _needs(ledger, "begun") == ["2", "1"]
    # One that is played in has ended its fitting, one that is set aside is gone on with by nobody.
    move_reed(ledger, "2", to="breaking in", reason="in tune", who="A")
    move_reed(ledger, "3", to="set aside", reason="a chip", who="A")
    found = today(ledger)
    assert found.going is not None
    assert found.going.reed.number == "2"
    assert _needs(ledger, "begun") == ["1"]
    assert [one.reed.number for one in found.recent] == ["3"]


def test_a_pinch_is_checked_by_the_next_take(ledger: Ledger) -> None:
    ease_reed(ledger, "1", how="pinch", who="A")
    assert _needs(ledger, "not checked") == []  # never played: there is nothing to hold it against
    _play(ledger, "1")
    assert _needs(ledger, "not checked") == []
    ease_reed(ledger, "1", how="pinch", who="A")
    assert _needs(ledger, "not checked") == ["1"]
    _play(ledger, "1")
    assert _needs(ledger, "not checked") == []


def test_a_rest_that_has_ended_is_news_until_it_is_blown(ledger: Ledger, clock: Clock) -> None:
    for reed in ("1", "2", "3"):
        rest_reed(ledger, reed, player="Morag", who="A")
    assert _needs(ledger, "rested") == []
    clock.pass_days(2.1)
    assert _needs(ledger, "rested") == ["3", "2", "1"]
    play_reed(ledger, "2", minutes=5, who="A", player="Effie")
    move_reed(ledger, "3", to="set aside", reason="a chip", who="A")
    assert _needs(ledger, "rested") == ["1"]
    rest_reed(ledger, "1", player="Effie", who="A")
    assert _needs(ledger, "rested") == []
    clock.pass_days(60)
    assert _needs(ledger, "rested") == []


def test_a_reed_without_a_pinch_left_says_so_while_it_is_set_up(ledger: Ledger) -> None:
    for _ in range(2):
        ease_reed(ledger, "1", how="pinch", who="A")
    assert _needs(ledger, "pinched out") == []
    ease_reed(ledger, "1", how="pinch", who="A")
    assert _needs(ledger, "pinched out") == ["1"]
    move_reed(ledger, "1", to="breaking in", reason="well", who="A")
    assert _needs(ledger, "pinched out") == ["1"]
    move_reed(ledger, "1", to="settled", reason="well", who="A")
    assert _needs(ledger, "pinched out") == []
