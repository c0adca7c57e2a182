"""Players on the page: what they blow, their ceiling, and changes that nobody else's are lost by."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
    assert "&#39;Isla Penhallow&#39; then, &#39;Isla P.&#39; now" in stale.text
    assert client.get("/players/99").status_code == 404
