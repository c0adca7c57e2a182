"""Which reeds suit a player, on the page: reasons, what is not known, the way on; never past the ceiling."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.store.records import TakeRecord
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from canebench.store.tables import Value


def rows(page: str) -> dict[str, str]:
    """What is said of each reed, by its number."""
    found = re.findall(r'<tr><th scope="row"><a href="[^"]*">([^<]+)</a></th>(.*?)</tr>', closed_up(page))
    return {number: re.sub(r"<[^>]*>", "|", said) for number, said in found}


def test_reasons_and_what_is_not_known_stand_beside_each_reed(client: TestClient) -> None:
    page = closed_up(client.get("/choose?player=Isla%20Penhallow").text)
    assert "Isla Penhallow blows 27.0 inH2O = 6.73 kPa now; the ceiling is 31.0 inH2O" in page
    said = rows(page)
    # On trial or new, and in balance: first of all that would do.
    assert next(iter(said)) == "19"
    assert "suits now" in said["2"]
    assert "above what you blow now" in said["2"]
    assert "pitch" in said["2"].split("|")[5]
    assert "grade it first" in said["11"]
    assert "strength, balance, pitch" in said["11"]
    assert list(rows(client.get("/choose?player=Isla%20Penhallow&lot=summer").text)) == [
        str(n) for n in range(13, 19)
    ]


def test_the_way_on_leads_to_the_fitting_with_all_of_it_told(client: TestClient) -> None:
    page = client.get("/choose?player=Isla%20Penhallow").text
    links = re.findall(r'href="(/\?reed=[^"]*)"', page)
    assert len(links) == 10
    start = client.get(links[0].replace("&amp;", "&")).text
    for given in ('value="19"', 'value="Isla Penhallow"'):
        assert given in start


def test_none_past_the_ceiling_is_advised(client: TestClient) -> None:
    """Reeds 4 and 7 ask for more than Isla's ceiling: no way on from them; with a higher one there is."""
    said = rows(client.get("/choose?player=Isla%20Penhallow").text)
    for number in ("4", "7"):
        assert "not for you now" in said[number]
        assert "Fit it" not in said[number]
    client.post("/players", data={"name": "Isla Penhallow", "ceiling": "60 inH2O"})
    said = rows(client.get("/choose?player=Isla%20Penhallow").text)
    assert "Fit it" in said["4"]


def test_a_reed_that_rests_from_another_mouth_says_so(client: TestClient) -> None:
    client.post("/reeds/6/mouth", data={"player": "Effie Garrow"})
    said = rows(client.get("/choose?player=Isla%20Penhallow").text)["6"]
    assert re.search(r"rests from the mouth of Effie Garrow until \d{4}-\d\d-\d\d \d\d:\d\d(?! UTC)", said)
    assert "once it has rested" in said
    assert "Fit it" not in said
    # Not for the same mouth, and not the other reeds.
    assert "rests from" not in closed_up(client.get("/choose?player=Effie%20Garrow").text)
    assert "rests from" not in rows(client.get("/choose?player=Isla%20Penhallow").text)["5"]


def test_a_reed_that_is_set_aside_is_named_apart_and_not_fitted(client: TestClient) -> None:
    """As it was seen: a chipped reed was told "suits now", and to fit it."""
    first = rows(client.get("/choose?player=Isla%20Penhallow").text)
    assert "Fit it" in first["2"]
    client.post("/reeds/2/move", data={"to": "set aside", "reason": "chip in the lower blade"})
    page = client.get("/choose?player=Isla%20Penhallow").text
    assert "2" not in rows(page)
    assert '<li><a href="/reeds/2">Reed 2</a>: set aside, chip in the lower blade</li>' in page
    assert "reed=2&" not in page
    assert "Fit in" not in client.get("/reeds/2").text
    assert '<option value="2">' not in client.get("/").text
    # The control: moved on, it is offered again.
    client.post("/reeds/2/move", data={"to": "on trial", "reason": "in another chanter"})
    again = client.get("/choose?player=Isla%20Penhallow").text
    assert "Fit it" in rows(again)["2"]
    assert "Fit in" in client.get("/reeds/2").text
    assert '<option value="2">' in client.get("/").text
    assert '<a href="/reeds/2">Reed 2</a>: set aside' not in again


def test_what_speaks_against_a_reed_is_said_on_the_page(client: TestClient) -> None:
    """Whose it is, and a reading from before the pinch: to be graded, not fitted."""
    page = client.get("/choose?player=Isla%20Penhallow").text
    assert "3 of 3 pinches left" in rows(page)["2"]
    assert "days ago)" in rows(page)["2"]
    client.post("/reeds/2/ease", data={"how": "pinch"})
    client.post("/reeds/6/remark", data={"player": "Effie Garrow", "version": "1"})
    said = rows(client.get("/choose?player=Isla%20Penhallow").text)
    assert "grade it again: it was read before the pinch" in said["2"]
    assert "2 of 3 pinches left" in said["2"]
    assert "Grade it" in said["2"]
    assert "Fit it" not in said["2"]
    assert "belongs to Effie Garrow" in said["6"]
    assert next(iter(said)) not in ("2", "6")


def test_ties_are_said(client: TestClient) -> None:
    for reed in ("13", "14"):
        client.post(f"/reeds/{reed}/strength", data={"playing": "29", "unit": "inH2O"})
    said = rows(client.get("/choose?player=Isla%20Penhallow&lot=summer").text)
    assert "as good as 14" in said["13"]
    assert "as good as 13" in said["14"]


def test_what_is_missing_is_said_with_where_to_tell_it(client: TestClient) -> None:
    assert "Choose a player" in client.get("/choose").text
    assert "There is no player named Nobody" in client.get("/choose?player=Nobody").text
    assert "There is no lot named x" in client.get("/choose?player=Isla%20Penhallow&lot=x").text
    client.post("/players", data={"name": "New One"})
    page = client.get("/choose?player=New%20One").text
    assert "What New One blows now is not told yet" in page
    assert re.search(r'href="/players/\d+">the page of New One', page)


@pytest.mark.parametrize(
    "change", [{"scale": "elsewhere"}, {"reference_hz": None}], ids=["scale", "reference"]
)
def test_a_take_that_tells_nothing_here_stops_nothing(
    client: TestClient, app: Starlette, change: dict[str, Value]
) -> None:
    """A scale of another bench, or no reference: its strength still counts."""
    ledger = app.state.context.ledger
    with ledger.act("x", who="x", said="x") as act:
        for take in act.rows(TakeRecord, {"reed_id": 2}):
            act.update(take, change)
    said = rows(client.get("/choose?player=Isla%20Penhallow").text)
    assert "suits now" in said["2"]
    assert "balance, pitch" in said["2"]
    assert client.get("/reeds").status_code == 200
    assert "not known" in client.get("/reeds/2").text
