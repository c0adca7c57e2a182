"""Care on the page: three rules side by side, resting reeds, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.testclient import TestClient


def test_rules_stand_side_by_side(client: TestClient) -> None:
    page = client.get("/care?level=100&minutes=7,5").text
    for rule in ("NIOSH 98-126", "OSHA 1910.95", "EU 2003/10/EC"):
        assert rule in page
    # NIOSH: 100 dB(A) fills the day in 15 minutes (98-126, table 1-1).
    assert "50 %" in page
    assert "not medical advice" in page


def test_what_cannot_be_is_said(client: TestClient) -> None:
    answer = client.get("/care?level=300")
    assert answer.status_code == 422
    assert "from 20 to 140" in answer.text
    assert client.get("/care?players=x").status_code == 422


def test_a_mouth_tested_reed_is_listed_as_resting(client: TestClient) -> None:
    client.post("/reeds/5/mouth", data={"player": "Isla Penhallow"})
    page = client.get("/care").text
    assert "For other mouths until" in page
    assert '<th scope="row">5</th>' in page
