"""Reeds on the page: found, taken in, and everything that is done to one."""

from __future__ import annotations

import io
import json
import re
from typing import TYPE_CHECKING

import pypdf
import pytest

from canebench.store.records import PlayerRecord, PlayRecord, ReedRecord
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def numbers(text: str) -> list[str]:
    return re.findall(r'<th scope="row"><a href="/reeds/\d+">([^<]+)</a>', closed_up(text))


def test_filters_stand_in_the_address(client: TestClient) -> None:
    assert len(numbers(client.get("/reeds").text)) == 24
    assert numbers(client.get("/reeds?state=settled").text) == ["1", "2", "3", "4"]
    assert numbers(client.get("/reeds?lot=summer&state=new").text) == [str(n) for n in range(13, 19)]
    # Reed 2 by its remarks: raised by 1.5 mm.
    assert numbers(client.get("/reeds?search=1&order=number").text)[:3] == ["1", "2", "10"]
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
    assert "nothing then, “pale” now" in answer.text
    assert 'value="dark"' in answer.text


def test_the_story_says_numbers_and_takes_each_act_back(client: TestClient) -> None:
    client.post("/reeds/5/strength", data={"playing": "26", "unit": "inH2O"})
    client.post("/reeds/5/strength", data={"onset": "5", "playing": "6,5", "unit": "kPa"})
    client.post("/reeds/5/strength", data={"by_mouth": "same", "than": "1"})
    page = closed_up(client.get("/reeds/5").text)
    for said in ("26 inH2O", "onset 5 kPa, playing 6.5 kPa", "by mouth same, against reed 1"):
        assert f"<td>logged the strength of reed 5: {said}</td>" in page
    act = re.search(r'aria-label="Undo act (\d+): logged the strength of reed 5: 26 inH2O"', page)
    assert act is not None
    form = f'<form method="post" action="/undo/{act[1]}"><input type="hidden" name="back" value="/reeds/5">'
    assert form in page
    back = closed_up(client.post(f"/undo/{act[1]}", data={"back": "/reeds/5"}).text)
    assert form not in back
    assert "undone by act" in back
    assert "an undoing" in back


def test_what_was_read_before_a_pinch_is_marked(client: TestClient) -> None:
    """On the reed's page and in the list; a reading after it, and another reed's, are not."""
    client.post("/reeds/5/strength", data={"playing": "29", "unit": "inH2O"})
    assert "before the pinch" not in client.get("/reeds/5").text
    client.post("/reeds/5/ease", data={"how": "pinch"})
    assert "29.0 inH2O = 7.22 kPa, before the pinch" in client.get("/reeds/5").text
    assert client.get("/reeds?lot=spring").text.count("before the pinch") == 1
    client.post("/reeds/5/strength", data={"playing": "27", "unit": "inH2O"})
    assert client.get("/reeds?lot=spring").text.count("before the pinch") == 0


def test_a_removed_reed_comes_back_by_undo(client: TestClient) -> None:
    page = client.post("/reeds/18/remove").text
    assert "18" not in numbers(page)
    assert "This reed lies in the bin" in client.get("/reeds/18").text
    undo = re.search(r'action="(/undo/\d+)"', page)
    assert undo
    assert "18" in numbers(client.post(undo[1], data={"back": "/reeds"}).text)
    assert client.post("/reeds/1/remove").status_code == 422
    client.post("/reeds/18/remove")
    back = re.search(r'action="(/undo/\d+)"', client.get("/reeds/18").text)
    assert back
    page = client.post(back[1], data={"back": "/reeds/18"}).text
    assert "This reed lies in the bin" not in page
    assert 'action="/reeds/18/remove"' in page


def test_card_and_labels_are_pdfs(client: TestClient, app: Starlette) -> None:
    card = client.get("/reeds/1/card.pdf")
    assert card.headers["content-type"] == "application/pdf"
    assert "Reed 1" in pypdf.PdfReader(io.BytesIO(card.content)).pages[0].extract_text()
    labels = client.get("/labels.pdf?lot=spring")
    assert len(pypdf.PdfReader(io.BytesIO(labels.content)).pages) == 1
    assert client.get("/labels.pdf?lot=none").status_code == 422
    assert app.state.context.takes.parent.exists()


def test_labels_of_those_ticked_or_asked_for(client: TestClient) -> None:
    def labelled(address: str) -> set[str]:
        text = pypdf.PdfReader(io.BytesIO(client.get(address).content)).pages[0].extract_text()
        return {word for word in text.split() if word.isdigit()}

    assert labelled("/labels.pdf?reed=3&reed=14") == {"3", "14"}
    assert labelled("/labels.pdf?state=settled") == {"1", "2", "3", "4"}
    assert labelled("/labels.pdf?search=12") == {"12"}
    # Ticked ones alone, whatever list they were ticked in.
    assert labelled("/labels.pdf?state=new&reed=18") == {"18"}


def test_states_are_counted_among_what_is_asked_for(client: TestClient) -> None:
    page = client.get("/reeds?search=1&state=new").text
    assert "settled 2</a>" in page
    assert "new 9</a>" in page
    assert len(numbers(page)) == 9
    assert numbers(client.get("/reeds?order=newest").text)[0] == "24"
    assert "There is no page 7" in client.get("/reeds?page=7").text


def test_a_list_tells_strength_and_the_newest_take(client: TestClient) -> None:
    client.post("/reeds/5/strength", data={"by_mouth": "a little stronger", "than": "1"})
    row = closed_up(client.get("/reeds?lot=spring").text).split("<tr>")
    assert "octave narrow – in tolerance" in row[5]
    assert "number 4" in row[5]
    assert "34.0 ± 0.5 inH2O = 8.47 kPa" in row[5]
    assert ", by mouth" in row[6]
    assert ", by mouth" not in row[5]
    # The same words as on the page of the reed, where all nine notes are looked at.
    for reed in range(1, 5):
        page = closed_up(client.get(f"/reeds/{reed}").text)
        tilt = page.split("<dt>Tilt</dt><dd>")[1].split("</dd>")[0]
        assert tilt in row[1 + reed]


def test_a_number_given_again_is_another_reed(client: TestClient, app: Starlette) -> None:
    """What is done on the page of a reed in the bin never lands on the reed that has its number now."""
    client.post("/reeds/18/remove")
    client.post("/reeds", data={"name": "more", "count": "1", "first": "18"})
    for act, fields in (
        ("play", {"minutes": "10"}),
        ("ease", {"how": "pinch"}),
        ("move", {"to": "retired", "reason": "x"}),
        ("remove", {}),
    ):
        answer = client.post(f"/reeds/18/{act}", data=fields)
        assert answer.status_code == 404
        assert "lies in the bin: undo its removal first" in answer.text
    assert client.get("/reeds/18/card.pdf").status_code == 404
    page = client.get("/reeds/18").text
    assert 'action="/reeds/18/' not in page
    assert "Bring it back" in page
    with app.state.context.ledger.reading() as reader:
        assert reader.find(ReedRecord, "number", "18").state == "new"
        assert reader.count(PlayRecord, {"reed_id": 25}) == 0


def test_a_reed_past_the_ceiling_is_warned_of(client: TestClient) -> None:
    """Reed 5 in the hands of Effie, whose ceiling is 28 inches."""
    told = {"unit": "inH2O", "player": "Effie Garrow"}
    assert "your ceiling is" not in client.post("/reeds/5/strength", data={**told, "playing": "28"}).text
    assert (
        "Effie Garrow: This asks for 28.5"
        in client.post("/reeds/5/strength", data={**told, "playing": "28.5"}).text
    )


def test_what_was_chosen_stays_chosen_where_it_will_not_do(client: TestClient) -> None:
    told = {"player": "Coll Brannock", "by_mouth": "much stronger", "than": "no such reed"}
    page = client.post("/reeds/5/strength", data=told)
    assert page.status_code == 404
    form = closed_up(page.text).split('action="/reeds/5/strength"')[1].split("</form>")[0]
    for kept in ("Coll Brannock", "much stronger"):
        assert f"<option selected>{kept}" in form
    assert 'value="no such reed"' in form


def test_the_chart_holds_what_the_tables_hold(client: TestClient) -> None:
    page = closed_up(client.get("/reeds/4").text)
    data = json.loads(page.split('<script type="application/json">')[1].split("</script>")[0])
    assert [one["value"] for one in data["height"]] == [None, None]
    tilts = re.findall(r'number">([+−][\d.]+) ± [\d.]+ cents', page)
    assert [f"{one['value']:+.1f}" for one in data["tilt"]][::-1] == [one.replace("−", "-") for one in tilts]
    assert len(data["strength"]) == page.count("<td>playing") + page.count("<td>onset")


def test_who_played_is_written_down(client: TestClient, app: Starlette) -> None:
    client.post("/reeds/5/play", data={"minutes": "12", "player": "Rory Tamlin"})
    assert client.post("/reeds/5/play", data={"minutes": "12", "player": "Nobody"}).status_code == 404
    with app.state.context.ledger.reading() as reader:
        plays = reader.rows(PlayRecord, {"reed_id": 5})
        assert [row.player_id for row in plays] == [reader.find(PlayerRecord, "name", "Rory Tamlin").id]
