"""Chanters and drones on the page."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.testclient import TestClient


def test_what_a_millimetre_does_is_learnt_from_the_takes(client: TestClient) -> None:
    page = client.get("/chanters/1").text
    assert "learnt from 3 takes of reed 1" in page
    assert "1 mm deeper" in page
    assert "Not measured" in page
    assert "/fit/1/1" in page


def test_sizes_are_checked_and_kept(client: TestClient) -> None:
    sizes = (files("canebench.bore") / "generic.toml").read_text()
    told = {"name": "number 1", "version": "1", "read_name": "number 1", "sizes": sizes}
    page = client.post("/chanters/1", data=told)
    assert page.status_code == 200, page.text[:2000]
    assert "Not measured" not in page.text
    bad = client.post("/chanters/1", data={**told, "version": "2", "sizes": sizes.replace("=", "", 1)})
    assert bad.status_code in (409, 422)
    assert client.post("/chanters/1", data=told).status_code == 409


def test_pins_tell_the_pitch(client: TestClient) -> None:
    marked = {"name": "outside tenor", "kind": "tenor", "mark_mm": "42", "player": "Isla Penhallow"}
    assert client.post("/drones", data=marked).status_code == 200
    page = client.post("/drones", data={"name": "outside tenor", "kind": "tenor", "pin_mm": "45,5"}).text
    assert "45.5 mm" in page
    assert client.post("/drones", data={**marked, "pin_mm": "-1"}).status_code == 422


def test_a_new_chanter(client: TestClient) -> None:
    assert client.post("/chanters", data={"name": "the old one"}).url.path.startswith("/chanters/")
    assert client.post("/chanters", data={"name": ""}).status_code == 422
