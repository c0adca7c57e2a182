"""Settings on the page: seen, changed as read, taken back; and whose clock every page tells."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.band import band_defaults, settle
from canebench.bench.acts.reeds.reed_days import rest_reed
from canebench.store.records import ReedRecord, TakeRecord

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

#: Pages of the season that tell times, and one of each.
_TELLING = ("/history", "/takes", "/takes/1", "/reeds/1", "/players/1", "/chanters/1", "/care", "/")
_TIME = re.compile(r"2026-\d\d-\d\d \d\d:\d\d")


def test_what_is_settled_is_shown_and_changed(empty_client: TestClient, empty_app: Starlette) -> None:
    assert "from the drones" in empty_client.get("/settings").text
    told = {"name": "<b>Quay</b>", "pitch": "478", "pressure": "kPa", "zone": "Europe/London", "version": "0"}
    page = empty_client.post("/settings", data=told).text
    assert "low A 478 Hz, fixed" in page
    assert "&lt;b&gt;Quay&lt;/b&gt;" in page
    assert "Times by Europe/London" in page
    assert "<b>Quay" not in page
    # In the settled unit without saying so; the list has it first.
    page = empty_client.post("/players", data={"name": "Effie", "blows": "7"}).text
    assert "7.00 kPa = 28.1 inH2O" in page
    assert 'value="7.00 kPa"' in empty_client.get("/players/1").text
    act = empty_client.get("/history").text
    assert "settled name: &lt;b&gt;Quay&lt;/b&gt;; pitch: low A 478 Hz" in act
    assert band_defaults(empty_app.state.context.ledger).low_a_hz == 478


def test_a_stale_form_is_refused_and_what_was_typed_stays(empty_client: TestClient) -> None:
    empty_client.post("/settings", data={"pitch": "478", "version": "0"})
    stale = empty_client.post("/settings", data={"pitch": "440", "version": "0"})
    assert stale.status_code == 409
    assert 'value="440"' in stale.text
    wrong = empty_client.post("/settings", data={"zone": "Lundon", "version": "1"})
    assert (wrong.status_code, "Europe/London" in wrong.text) == (422, True)
    # The control: with the version as it is now it is taken.
    assert empty_client.post("/settings", data={"pitch": "440", "version": "1"}).status_code == 200


def test_breaking_in_is_settled_on_the_page_too(empty_client: TestClient, empty_app: Starlette) -> None:
    told = {"sessions": "4, 8", "rest": "24", "settled_sessions": "2", "version": "0"}
    page = empty_client.post("/settings", data=told).text
    assert "4 and 8 min, then as long as the last, 24 h of rest after each" in page
    assert 'value="4, 8"' in page
    assert band_defaults(empty_app.state.context.ledger).rule.sessions == 2
    wrong = empty_client.post("/settings", data={"sessions": "8, 4", "version": "1"})
    assert (wrong.status_code, 'value="8, 4"' in wrong.text) == (422, True)
    assert re.search(r"<details[^>]* open>\s*<summary>Breaking in", wrong.text)
    # The control: where nothing of it is settled it stays folded.
    empty_client.post("/settings", data={"sessions": "", "rest": "", "settled_sessions": "", "version": "1"})
    assert not re.search(r"<details[^>]* open>\s*<summary>Breaking in", empty_client.get("/settings").text)


def test_a_fitting_begun_shows_what_is_settled(empty_client: TestClient) -> None:
    empty_client.post("/settings", data={"pitch": "481", "version": "0"})
    page = empty_client.post("/fit", data={"reed": "7", "chanter": "black"}).text
    assert 'value="481"' in page
    # Said for this fitting, another pitch wins.
    assert 'value="470"' in empty_client.get("/fit/1/1?reference=470").text


@pytest.mark.parametrize("path", _TELLING)
def test_every_time_is_told_by_the_zones_clock(client: TestClient, app: Starlette, path: str) -> None:
    """14 hours before UTC every time is another: none is left bare."""
    ledger = app.state.context.ledger
    rest_reed(ledger, "5", player="Isla Penhallow", who="x")
    settle(ledger, {"zone": "Atlantic/Reykjavik"}, who="x")
    before = client.get(path).text
    settle(ledger, {"zone": "Pacific/Kiritimati"}, who="x")
    after = client.get(path).text
    assert "UTC" not in after
    said = _TIME.findall(before)
    assert said or path in ("/", "/chanters/1")
    assert set(said).isdisjoint(_TIME.findall(after)) or path == "/history"


def test_a_chart_knows_the_zone(client: TestClient, app: Starlette) -> None:
    zoned = re.compile('<history-chart zone="Europe/London"')
    assert not zoned.search(client.get("/reeds/1").text)
    settle(app.state.context.ledger, {"zone": "Europe/London"}, who="x")
    assert zoned.search(client.get("/reeds/1").text)


def test_the_usual_player_takes_no_reed_from_another(client: TestClient, app: Starlette) -> None:
    """Reed 3 is Effie's; left as offered, Isla stands in the field."""
    ledger = app.state.context.ledger
    settle(ledger, {"player": "Isla Penhallow"}, who="x")
    start = client.get("/").text
    assert 'value="Isla Penhallow"' in start
    told = {"reed": "3", "chanter": "number 3", "player": "Isla Penhallow", "offered": "Isla Penhallow"}
    assert client.post("/fit", data=told).status_code == 200

    def owner(number: str) -> int | None:
        with ledger.reading() as reader:
            reed = reader.find(ReedRecord, "number", number)
        assert reed is not None
        found: int | None = reed.player_id
        return found

    assert owner("3") == 3
    # Nobody's reed goes to whom the field offers; and the control: one that is named takes it.
    client.post("/fit", data={**told, "reed": "9"})
    assert owner("9") == 1
    del told["offered"]
    client.post("/fit", data=told)
    assert owner("3") == 1
    with ledger.reading() as reader:
        assert reader.rows(TakeRecord, limit=1)


def test_the_reeds_are_judged_at_once_for_a_settled_player(client: TestClient, app: Starlette) -> None:
    assert "Choose a player" in client.get("/choose").text
    settle(app.state.context.ledger, {"player": "Isla Penhallow"}, who="x")
    assert "Best first" in client.get("/choose").text
    assert "Choose a player" in client.get("/choose?player=").text
