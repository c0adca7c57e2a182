"""Reeds on the page: found, taken in, and everything that is done to one."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

import pypdf
import pytest

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def numbers(text: str) -> list[str]:
    return re.findall(r'<th scope="row"><a href="/reeds/\d+">([^<]+)</a>', text)


def test_filters_stand_in_the_address(client: TestClient) -> None:
    assert len(numbers(client.get("/reeds").text)) == 18
    assert numbers(client.get("/reeds?state=settled").text) == ["1", "2", "3", "4"]
    assert numbers(client.get("/reeds?lot=summer&state=new").text) == [str(n) for n in range(13, 19)]
    assert numbers(client.get("/reeds?search=1&order=number").text)[:3] == ["1", "10", "11"]
    assert "No reed is like that" in client.get("/reeds?search=zzz").text
    for bad in ("state=lost", "order=price", "page=0", "page=x"):
        assert client.get(f"/reeds?{bad}").status_code == 422


def test_thirty_reeds_by_one_line(empty_client: TestClient) -> None:
    assert "No reed here yet" in empty_client.get("/reeds").text
    told = {"name": "box 3", "count": "30", "bought_on": "2026-03-01", "price": "7,50", "cane": "straight"}
    page = empty_client.post("/reeds", data=told)
    assert page.status_code == 200
    assert len(numbers(page.text)) == 30
    assert "took in 30 reeds" in page.text
    again = empty_client.post("/reeds", data={**told, "count": "two"})
    assert again.status_code == 422
    assert 'value="box 3"' in again.text


def test_a_reed_tells_all_that_is_known(client: TestClient) -> None:
    page = client.get("/reeds/4").text
    for said in (
        "settled",
        "spring",
        "130 min",
        "inH2O",
        "took in 12 reeds",
        "history-chart",
        "Fit in number 4",
    ):
        assert said in page
    assert client.get("/reeds/999").status_code == 404


@pytest.mark.parametrize(
    ("act", "fields", "said"),
    [
        ("strength", {"playing": "29,5", "unit": "inH2O"}, "29.5 inH2O"),
        ("strength", {"by_mouth": "a little stronger", "than": "1"}, "by mouth: a little stronger"),
        ("ease", {"how": "pinch"}, "eased reed 5"),
        ("play", {"minutes": "12", "level_dba": "104"}, "played reed 5 for 12 min"),
        ("mouth", {"player": "Isla Penhallow"}, "rests for other mouths until"),
        ("move", {"to": "on trial", "reason": "a little above"}, "on trial"),
        ("remark", {"remarks": "pale cane", "version": "1"}, "pale cane"),
    ],
)
def test_what_is_done_is_written_down_and_undone(
    client: TestClient, act: str, fields: dict[str, str], said: str
) -> None:
    before = client.get("/reeds/5").text
    page = client.post(f"/reeds/5/{act}", data=fields)
    assert page.status_code == 200
    assert said in page.text
    undo = re.search(r'action="(/undo/\d+)"', page.text)
    assert undo
    client.post(undo[1], data={"back": "/reeds/5"})
    after = client.get("/reeds/5").text
    assert after.count("took in 12") == before.count("took in 12")
    assert (said in after.split("Its whole story")[0]) == (said in before.split("Its whole story")[0])


@pytest.mark.parametrize(
    ("act", "fields", "said"),
    [
        ("strength", {}, "a pressure, or how it compares"),
        ("strength", {"playing": "300", "unit": "inH2O"}, "pressure"),
        ("play", {"minutes": "-5"}, "minutes"),
        ("play", {}, "how long it was played"),
        ("mouth", {}, "player"),
        ("move", {"to": "settled", "reason": ""}, "it may go to"),
        ("move", {"to": "on trial", "reason": ""}, "with its reason"),
        ("nothing", {}, "one of"),
    ],
)
def test_what_will_not_do_is_said(client: TestClient, act: str, fields: dict[str, str], said: str) -> None:
    answer = client.post(f"/reeds/5/{act}", data=fields)
    assert answer.status_code == 422
    assert said in answer.text


def test_a_stale_edit_shows_both_versions(client: TestClient) -> None:
    client.post("/reeds/5/remark", data={"remarks": "pale", "version": "1"})
    answer = client.post("/reeds/5/remark", data={"remarks": "dark", "read_remarks": "", "version": "1"})
    assert answer.status_code == 409
    assert "None then, &#39;pale&#39; now" in answer.text
    assert 'value="dark"' in answer.text


def test_a_fourth_pinch_is_warned_of(client: TestClient) -> None:
    for _ in range(4):
        page = client.post("/reeds/5/ease", data={"how": "pinch"}).text
    assert "4" in page.split("Pinches</dt>")[1][:60] or "four" in page.split("Pinches</dt>")[1][:80].lower()


def test_a_removed_reed_comes_back_by_undo(client: TestClient) -> None:
    page = client.post("/reeds/18/remove").text
    assert "18" not in numbers(page)
    assert "lies in the bin" in client.get("/reeds/18").text
    undo = re.search(r'action="(/undo/\d+)"', page)
    assert undo
    assert "18" in numbers(client.post(undo[1], data={"back": "/reeds"}).text)
    assert client.post("/reeds/1/remove").status_code == 422


def test_card_and_labels_are_pdfs(client: TestClient, app: Starlette) -> None:
    card = client.get("/reeds/1/card.pdf")
    assert card.headers["content-type"] == "application/pdf"
    assert "Reed 1" in pypdf.PdfReader(io.BytesIO(card.content)).pages[0].extract_text()
    labels = client.get("/labels.pdf?lot=spring")
    assert len(pypdf.PdfReader(io.BytesIO(labels.content)).pages) == 1
    assert client.get("/labels.pdf?lot=none").status_code == 422
    assert app.state.desk.takes.parent.exists()


def test_choosing_for_a_player(client: TestClient) -> None:
    page = client.get("/choose?player=Effie%20Garrow&lot=spring").text
    assert "Verdict" in page
    assert "above" in page
    assert "not told" not in page
    assert "There is no player" in client.get("/choose?player=Nobody").text
    assert "Choose a player" in client.get("/choose").text
