"""A chanter's page as it is read and filled in: files of sizes, what was typed kept, drones, drawings."""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING

import pytest

from canebench.bore.chanter_file import generic_text
from canebench.store.records import ChanterRecord
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

TOLD = {"name": "number 1", "version": "1", "read_name": "number 1"}
LONG = "The second-best blackwood chanter of the pipe major’s uncle X"[:60]


def hole_of(page: str, name: str) -> str:
    found = re.search(
        rf'<th scope="row" class="note">{name}</th><td class="number">([\d.]+)</td>', closed_up(page)
    )
    assert found
    return found[1]


def test_sizes_come_from_a_file(client: TestClient) -> None:
    text = generic_text()
    old = hole_of(client.get("/chanters/1").text, "low A")
    moved = text.replace(old, f"{float(old) + 1:.1f}", 1)
    assert moved != text
    # With the mark that some editors put in front.
    sent = {"file": ("mine.toml", b"\xef\xbb\xbf" + moved.encode())}
    page = client.post("/chanters/1", data=TOLD, files=sent)
    assert page.status_code == 200, page.text[:500]
    assert hole_of(page.text, "low A") == f"{float(old) + 1:.1f}"
    assert "Not measured" not in page.text


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\xff\xfe\x00", "no text"),
        (b"#" * 70_000, "60 kB"),
        (b"schema = 3", "schema"),
        (b" \n", "an empty file"),
    ],
)
def test_a_file_that_will_not_do_is_said_and_nothing_changes(
    client: TestClient, app: Starlette, data: bytes, said: str
) -> None:
    told = {**TOLD, "remarks": "a crack at the sole", "player": "Rory Tamlin", "sizes": "# mine <&>"}
    answer = client.post("/chanters/1", data=told, files={"file": ("mine.toml", data)})
    assert answer.status_code == 422
    words = html.unescape(answer.text)
    assert said in words[words.index('role="alert"') :][:600]
    # What was typed is still there, the pasted sizes and the player too.
    assert 'value="a crack at the sole"' in answer.text
    assert "<option selected>Rory Tamlin</option>" in closed_up(answer.text)
    assert "# mine &lt;&amp;&gt;</textarea>" in answer.text
    with app.state.context.ledger.reading() as reader:
        assert reader.row(ChanterRecord, 1).version == 1


def test_a_stale_edit_shows_both_and_keeps_what_was_typed(client: TestClient) -> None:
    assert client.post("/chanters/1", data={**TOLD, "name": "the loud one"}).status_code == 200
    answer = client.post("/chanters/1", data={**TOLD, "name": "the quiet one"})
    assert answer.status_code == 409
    words = html.unescape(answer.text)
    alert = words[words.index('role="alert"') :][:600]
    assert "the loud one" in alert
    assert 'value="the quiet one"' in answer.text


def test_drones_of_its_player_stand_on_it(client: TestClient) -> None:
    told = {"name": "outside tenor", "kind": "tenor", "mark_mm": "42", "pin_mm": "45,5"}
    client.post("/drones", data={**told, "player": "Isla Penhallow"})
    client.post("/drones", data={**told, "name": "another's", "player": "Rory Tamlin"})
    client.post("/chanters/1", data={**TOLD, "player": "Isla Penhallow"})
    page = html.unescape(client.get("/chanters/1").text)
    assert "outside tenor (tenor), mark at 42.0 mm, pin last at 45.5 mm" in page
    assert "another's" not in page


def test_what_is_not_estimated_is_said_and_long_names_stand(client: TestClient) -> None:
    page = client.get("/chanters/1").text
    assert "where no ± stands, it is not estimated" in page
    row = page[page.index("1 °C warmer") :].split("</tr>")[0]
    assert "±" not in row
    assert page[page.index("1 mm deeper") :].split("</tr>")[0].count("±") == 9
    made = client.post("/chanters", data={"name": LONG})
    assert made.status_code == 200
    assert LONG in html.unescape(made.text)
    assert "from its sizes alone" in made.text
    assert "No reed was fitted in it yet" in made.text


def test_an_empty_bench_says_what_to_do_first(empty_client: TestClient) -> None:
    page = empty_client.get("/chanters").text
    assert "A name is enough" in page
    assert empty_client.get("/chanters/1").status_code == 404


def test_the_bore_is_drawn_of_the_sizes_that_stand(client: TestClient) -> None:
    page = client.get("/chanters/1").text
    assert "Bore of number 1," in page
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
