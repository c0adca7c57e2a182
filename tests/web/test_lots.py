"""A lot's grading sheet as one form, and as its script sends it: rows kept, refused, stale and undone."""

from __future__ import annotations

import html
import io
import json
import re
from typing import TYPE_CHECKING, Any

import pypdf
import pytest

from canebench.store.records import MouthTestRecord, ReedRecord, StrengthRecord
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

_JSON = {"accept": "application/json"}


@pytest.fixture
def box(empty_client: TestClient) -> TestClient:
    """A client with a box of five begun."""
    page = empty_client.post("/lots", data={"name": "box 1", "count": "5"})
    assert page.url.path == "/lots/1"
    return empty_client


def _read(client: TestClient, reed: int, path: str = "/lots/1") -> str:
    """What the sheet says that it shows of a row, as its hidden field has it."""
    found = re.search(rf'name="read-{reed}" value="([^"]*)"', client.get(path).text)
    assert found
    return html.unescape(found[1])


def _row(client: TestClient, reed: int, **told: str) -> dict[str, str]:
    return {f"read-{reed}": _read(client, reed), **{f"{name}-{reed}": text for name, text in told.items()}}


def _sent(client: TestClient, *rows: dict[str, str], **told: str) -> tuple[int, Any]:
    data = {name: text for row in rows for name, text in row.items()} | told
    answer = client.post("/lots/1", data=data, headers=_JSON)
    return answer.status_code, answer.json()


def test_a_box_and_its_sheet_are_one_step(empty_client: TestClient) -> None:
    page = empty_client.get("/lots").text
    assert 'value="box 1"' in page
    assert 'value="20"' in page
    page = empty_client.post("/lots", data={"name": "box 1", "count": "20"}).text
    assert "took in 20 reeds of the lot box 1" in page
    assert page.count('name="gauge-') == 20
    assert 'value="box 2"' in empty_client.get("/lots").text
    for wrong in (
        {"name": "box 1", "count": "3"},
        {"name": "b", "count": "0"},
        {"name": "b"},
        {"count": "3"},
    ):
        answer = empty_client.post("/lots", data=wrong)
        assert answer.status_code == 422
        assert "Not saved" in answer.text


def test_without_scripts_one_form_saves_what_will_do(box: TestClient) -> None:
    rows = [_row(box, 1, gauge="28"), _row(box, 2, gauge="abc"), _row(box, 3, gauge="26,5")]
    page = box.post("/lots/1", data={name: text for row in rows for name, text in row.items()})
    assert page.status_code == 422
    text = closed_up(page.text)
    assert 'value="abc"' in text
    assert "Nearest that works: 30" in text
    assert 'value="28"' in text
    assert 'value="26.5"' in text
    assert "2 of 2" in text
    assert "graded 2 reeds of the lot box 1" in text
    undo = re.search(r'action="(/undo/\d+)"', text)
    assert undo
    box.post(undo[1], data={"back": "/lots/1"})
    assert 'value="28"' not in box.get("/lots/1").text
    rows = [_row(box, 1, gauge="28")]
    page = box.post("/lots/1", data=rows[0] | {"unit": "inH2O"})
    assert page.status_code == 200
    assert page.history[0].status_code == 303
    assert "Saved: graded reed 1 of the lot box 1: 28 inH2O" in page.text


def test_each_row_is_answered_with_every_place(box: TestClient) -> None:
    _sent(box, _row(box, 1, gauge="28"))
    status, told = _sent(box, _row(box, 2, gauge="26"))
    assert status == 200
    assert told["said"] == "graded reed 2 of the lot box 1: 26 inH2O"
    assert [told["rows"][reed]["place"] for reed in ("1", "2", "3")] == ["2 of 2", "1 of 2", ""]
    assert told["order"] == "2, 1"
    assert json.loads(told["rows"]["2"]["read"])["content"]["gauge"] == "26"
    undone = box.post(f"/undo/{told['last']['act']}", data={"back": "/lots/1?unit=inH2O"}, headers=_JSON)
    assert undone.json()["order"] == "1"
    assert undone.json()["last"]["said"] == "graded reed 1 of the lot box 1: 28 inH2O"


def test_by_mouth_a_place_follows_the_reed_it_was_compared_with(box: TestClient) -> None:
    _, told = _sent(box, _row(box, 2, mouth="a little stronger", than="1"))
    assert told["rows"]["2"]["place"] == "no place until reed 1 is graded"
    _, told = _sent(box, _row(box, 1, gauge="28"))
    assert told["rows"]["2"]["place"] == "2 of 2, 30.0 ± 1.7 inH2O, by mouth"


def test_what_is_set_aside_has_no_place(box: TestClient) -> None:
    _sent(box, _row(box, 1, gauge="28"), _row(box, 2, gauge="30"))
    _, told = _sent(box, _row(box, 1, gauge="28", marks="chip", aside="1"))
    assert told["rows"]["1"]["place"] == "set aside"
    assert told["rows"]["1"]["aside"] is False
    assert told["rows"]["2"]["place"] == "1 of 1"


def test_a_refused_row_says_where_and_why(box: TestClient) -> None:
    status, told = _sent(box, _row(box, 1, gauge="300"))
    assert status == 422
    assert told["rows"]["1"]["field"] == "gauge"
    assert "from 0 to 100 inH2O is allowed" in told["rows"]["1"]["why"]
    assert told["said"] == ""
    assert told["last"] is None


def test_a_stale_row_is_409_with_both_versions(box: TestClient, empty_app: Starlette) -> None:
    mine = _row(box, 1, gauge="29")
    _sent(box, _row(box, 1, gauge="30"))
    status, told = _sent(box, mine, _row(box, 2, gauge="31"))
    assert status == 409
    assert "nothing then, 30 inH2O now. Yours, 29 inH2O" in told["rows"]["1"]["why"]
    assert told["rows"]["1"]["stale"] is True
    assert told["rows"]["2"]["place"] == "2 of 2", "the other row is kept"
    page = box.post("/lots/1", data=mine)
    assert page.status_code == 409
    assert 'name="asked-1"' in page.text
    assert 'value="29"' in page.text
    assert 'name="over-1"' in page.text
    again = _row(box, 1, gauge="29", asked="1")
    assert _sent(box, again)[0] == 409, "a second press alone writes nothing over"
    assert _sent(box, again | {"over-1": "1"})[0] == 200
    with empty_app.state.context.ledger.reading() as reader:
        assert [round(row.playing_kpa, 2) for row in reader.rows(StrengthRecord)] == [7.22, 7.72]


def test_a_player_and_a_unit_stay_with_the_sheet(client: TestClient, app: Starlette) -> None:
    path = "/lots/2?unit=mbar&player=Effie+Garrow"
    page = closed_up(client.get(path).text)
    assert '<option value="mbar" selected>' in page
    assert "<option selected>Effie Garrow" in page
    data = {
        "read-13": _read(client, 13, path),
        "gauge-13": "75",
        "read-14": _read(client, 14, path),
        "mouth-14": "same",
        "than-14": "13",
        "unit": "mbar",
        "player": "Effie Garrow",
    }
    answer = client.post("/lots/2", data=data)
    assert answer.url.params["unit"] == "mbar"
    assert "Effie Garrow: This asks for" in answer.text
    with app.state.context.ledger.reading() as reader:
        row = reader.rows(StrengthRecord, {"reed_id": 13}, order="-id")[0]
        assert (row.playing_kpa, row.given_unit) == (7.5, "mbar")
        assert [test.reed_id for test in reader.rows(MouthTestRecord, order="-id", limit=1)] == [14]


def test_an_earlier_reading_is_told_and_not_written_over(client: TestClient, app: Starlette) -> None:
    """The season's readings are of other days: reed 4's field is empty, its place says when it was read."""
    text = closed_up(client.get("/lots/1").text)
    row = text.split('data-reed="4"')[1].split("</tr>")[0]
    assert 'name="gauge-4" value=""' in row
    # No line ends within the date: its hyphens do not break.
    assert re.search(r"of \d+, 34\.0 ± 0\.5 inH2O, read on 20\d\d\u2011\d\d\u2011\d\d", row)
    before = _count(app)
    data = {"read-4": _read(client, 4), "gauge-4": "33"}
    assert client.post("/lots/1", data=data, headers=_JSON).status_code == 200
    assert _count(app) == before + 1


def _count(app: Starlette) -> int:
    with app.state.context.ledger.reading() as reader:
        return int(reader.count(StrengthRecord))


def test_cautions_stand_once(box: TestClient) -> None:
    page = closed_up(box.get("/lots/1").text)
    for said in (
        "Hold the reed by the binding",
        "One mouth to each reed",
        "Stop at once",
        "past the ceiling",
    ):
        assert page.count(said) == 1, said


def test_what_is_no_row_of_the_sheet_is_refused(box: TestClient, empty_app: Starlette) -> None:
    for read in ("", "{}x", '{"content": {"gauge": 5}}'):
        answer = box.post("/lots/1", data={"read-1": read, "gauge-1": "28"})
        assert answer.status_code == 422
        assert "load it anew" in answer.text
    box.post("/lots", data={"name": "box 2", "count": "2"})
    status, _ = _sent(box, {**_row(box, 1, gauge="28"), "read-6": _read(box, 6, "/lots/2"), "gauge-6": "30"})
    assert status == 422
    with empty_app.state.context.ledger.reading() as reader:
        assert [row.reed_id for row in reader.rows(StrengthRecord)] == [1]
    for bad in ("/lots/1?unit=psi", "/lots/1?page=0"):
        assert box.get(bad).status_code == 422
    assert box.get("/lots/99").status_code == 404


def test_a_hundred_reeds_fit_one_form(empty_client: TestClient, empty_app: Starlette) -> None:
    empty_client.post("/lots", data={"name": "big", "count": "120"})
    data: dict[str, str] = {}
    page = empty_client.get("/lots/1").text
    reads = re.findall(r'name="read-(\d+)" value="([^"]*)"', page)
    assert len(reads) == 100
    assert len(re.findall("read-", empty_client.get("/lots/1?page=2").text)) == 20
    for reed, read in reads:
        data |= {f"read-{reed}": html.unescape(read), f"gauge-{reed}": "28", f"remarks-{reed}": "pale"}
        data |= {f"mouth-{reed}": "", f"than-{reed}": "", f"marks-{reed}": "chip"}
    assert empty_client.post("/lots/1", data=data).status_code == 200
    with empty_app.state.context.ledger.reading() as reader:
        assert reader.count(StrengthRecord) == 100
        assert reader.row(ReedRecord, 100).remarks == "chip; pale"


def test_labels_are_of_the_reeds_ticked_or_of_the_lot(box: TestClient) -> None:
    page = closed_up(box.get("/lots/1").text)
    assert '<form id="labels" method="get" action="/labels.pdf">' in page
    assert page.count('form="labels" name="reed"') == 5
    for address, numbers in (("reed=2&reed=4", {"2", "4"}), ("", {"1", "2", "3", "4", "5"})):
        pdf = box.get(f"/labels.pdf?lot=box+1&{address}").content
        words = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text().replace("box 1", "").split()
        assert {word for word in words if word.isdigit()} == numbers
