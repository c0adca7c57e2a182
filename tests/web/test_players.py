"""Players on the page: what they blow, their ceiling, and changes that nobody else's are lost by."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.store.records import PlayerRecord

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def test_a_player_is_told_of_with_cautions(empty_client: TestClient) -> None:
    assert "No player yet" in empty_client.get("/players").text
    told = {"name": "Effie Garrow", "blows": "24 inH2O", "ceiling": "28 inH2O"}
    page = empty_client.post("/players", data=told).text
    assert "24.0 inH2O = 5.98 kPa" in page
    assert "Never go past the ceiling" in page
    assert empty_client.post("/players", data={"name": "X", "blows": "24"}).status_code == 422


def test_changes_carry_the_version_they_read(client: TestClient) -> None:
    told = {"name": "Isla P.", "blows_kpa": "6 kPa", "version": "1", "read_name": "Isla Penhallow"}
    page = client.post("/players/1", data=told)
    assert page.status_code == 200
    assert "Isla P." in page.text
    stale = client.post("/players/1", data={**told, "name": "Isla Q."})
    assert stale.status_code == 409
    assert "“Isla Penhallow” then, “Isla P.” now" in stale.text
    assert client.get("/players/99").status_code == 404


def test_a_ceiling_never_moves_by_being_shown(client: TestClient, app: Starlette) -> None:
    """28.04 inches is shown as 28.0: kept as it stands it must stay 28.04."""
    client.post("/players/1", data={"name": "A", "ceiling_kpa": "28.04 inH2O", "version": "1"})
    page = client.get("/players/1").text
    form = dict(re.findall(r'name="([a-z_]+)"[^>]*value="([^"]*)"', page.split('action="/players/1"')[1]))
    assert form["ceiling_kpa"] == "28.0 inH2O"
    assert client.post("/players/1", data={**form, "remarks": "plays on Sundays"}).status_code == 200
    with app.state.context.ledger.reading() as reader:
        row = reader.row(PlayerRecord, 1)
    assert row.remarks == "plays on Sundays"
    assert row.ceiling_kpa == pytest.approx(28.04 * 0.249089, abs=1e-9)
    # The control: what is typed anew does move it.
    client.post("/players/1", data={**form, "ceiling_kpa": "28.1 inH2O", "version": "3"})
    with app.state.context.ledger.reading() as reader:
        assert reader.row(PlayerRecord, 1).ceiling_kpa == pytest.approx(28.1 * 0.249089, abs=1e-9)


def test_a_stale_ceiling_shows_what_it_was_and_is(client: TestClient) -> None:
    page = client.get("/players/1").text
    form = dict(re.findall(r'name="([a-z_]+)"[^>]*value="([^"]*)"', page.split('action="/players/1"')[1]))
    client.post("/players/1", data={**form, "ceiling_kpa": "8 kPa"})
    stale = client.post("/players/1", data={**form, "ceiling_kpa": "9 kPa"})
    assert stale.status_code == 409
    assert "8 kPa now" in stale.text
    assert f"{float(form['read_ceiling_kpa']):.4g} kPa then" in stale.text
    assert 'value="9 kPa"' in stale.text


def test_a_player_has_their_reeds_and_chanters(client: TestClient, app: Starlette) -> None:
    client.post("/reeds/4/remark", data={"player": "Isla Penhallow", "version": "5"})
    with app.state.context.ledger.act("x", who="x", said="x") as act:
        act.insert("chanters", {"name": "black one", "player_id": 1})
    page = client.get("/players/1").text
    assert '<a href="/reeds/4">4</a> (settled)' in page
    assert "black one" in page
