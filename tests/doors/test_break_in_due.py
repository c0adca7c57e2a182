"""Which reeds are due to be played in today: once they have rested, for as long as the ladder says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.band import settle
from canebench.bench.acts.reeds.people import set_player
from canebench.bench.acts.reeds.reed_days import play_reed
from canebench.bench.acts.reeds.stock import move_reed, take_in_lot
from canebench.bench.views.home.today import today
from canebench.store.ledger import Ledger, open_ledger
from canebench.web.app import create_app
from canebench.web.context import open_context
from canebench.web.security.sign_in import SignIn
from support.web_client import HOST, PORT, signed_in

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.views.home.needs import Need
    from support.ledgers import Clock


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Ledger:
    """Reeds 1 and 2 are being broken in, 3 is new, 4 settled."""
    ledger = open_ledger(str(tmp_path / "ledger.db"), clock=clock)
    take_in_lot(ledger, who="A", name="spring", count=4)
    set_player(ledger, "Morag", who="A")
    for reed in ("1", "2", "4"):
        move_reed(ledger, reed, to="breaking in", reason="in tune", who="A")
    move_reed(ledger, "4", to="settled", reason="steady", who="A")
    return ledger


def _due(ledger: Ledger) -> list[Need]:
    return [need for need in today(ledger).needs if need.kind == "break in"]


def test_a_reed_is_due_once_it_has_rested(ledger: Ledger, clock: Clock) -> None:
    assert sorted(need.reed.number for need in _due(ledger)) == ["1", "2"]
    play_reed(ledger, "1", minutes=5, who="A")
    assert [need.reed.number for need in _due(ledger)] == ["2"]
    clock.pass_days(19.9 / 24)
    assert [need.reed.number for need in _due(ledger)] == ["2"]
    clock.pass_days(0.2 / 24)
    # What was begun comes before what was never played.
    first, second = _due(ledger)
    assert (first.reed.number, second.reed.number) == ("1", "2")
    assert "session 2" in first.why
    assert "last played 2026-03-01" in first.why
    assert "first session" in second.why


def test_sessions_grow_as_the_ladder_says(ledger: Ledger, clock: Clock) -> None:
    told: list[float | None] = []
    for _ in range(6):
        (need,) = [need for need in _due(ledger) if need.reed.number == "1"]
        told.append(need.minutes)
        play_reed(ledger, "1", minutes=4, who="A")
        clock.pass_days(1)
    # Five minutes three times, then eight twice, then ten: docs/theory/breaking-in.md, an estimate.
    assert told == [5, 5, 5, 8, 8, 10]


def test_a_bands_own_sessions_and_rest_count(ledger: Ledger, clock: Clock) -> None:
    settle(ledger, {"sessions": "3, 4, 11", "rest": "40"}, who="A")
    told = []
    for _ in range(4):
        (need,) = [need for need in _due(ledger) if need.reed.number == "1"]
        told.append(need.minutes)
        play_reed(ledger, "1", minutes=4, who="A")
        clock.pass_days(39 / 24)
        assert "1" not in [need.reed.number for need in _due(ledger)]
        clock.pass_days(2 / 24)
    assert told == [3, 4, 11, 11]


def test_one_press_writes_it_down_and_goes_back_to_the_list(ledger: Ledger, tmp_path: Path) -> None:
    entry = SignIn(PORT)
    app = create_app(open_context(f"{tmp_path}/ledger.db", "x"), entry, hosts=[HOST])
    with signed_in(app, entry) as client:
        assert 'action="/reeds/1/play"' in client.get("/").text
        told = {"minutes": "5", "player": "", "back": "today"}
        answer = client.post("/reeds/1/play", data=told, follow_redirects=False)
        assert answer.headers["location"].startswith("/?did=")
        page = client.get(answer.headers["location"]).text
        assert "played reed 1 for 5 min" in page
        assert "Undo" in page
        assert 'action="/reeds/1/play"' not in page
        # The control: whatever else stands there leads nowhere else.
        for elsewhere in ("//elsewhere.example", "/help", ""):
            told["back"] = elsewhere
            answer = client.post("/reeds/1/play", data=told, follow_redirects=False)
            assert answer.headers["location"].startswith("/reeds/1?")
    assert len(_due(ledger)) == 1
