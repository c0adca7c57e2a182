"""Lists at a glance: small beams and bars beside their words, the last act, searches; two side by side."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING

import pytest

from canebench.base.uncertain import Uncertain
from canebench.bench.acts.reeds.strengths import KnownStrength
from canebench.bench.views.browse_reeds import Asked, list_page
from canebench.bench.views.drawing.small import BAR_WIDTH, BEAM_HEIGHT, strength_bar
from canebench.store.records import ReedRecord
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def _rows(page: str) -> list[str]:
    return closed_up(page).split("<tbody>")[1].split("</tbody>")[0].split("<tr>")[1:]


def test_each_row_has_its_state_beam_bar_and_last_act(client: TestClient) -> None:
    client.post("/reeds/5/strength", data={"playing": "26", "unit": "inH2O"})
    row = _rows(client.get("/reeds?lot=spring").text)[4]
    assert "logged the strength of reed 5: 26 inH2O" in row
    assert 'class="strength-bar"' in row
    assert 'class="shape"' in row
    first = _rows(client.get("/reeds?lot=spring").text)[0]
    assert first.count('class="small-beam"') == 1
    # Every picture is silent, and stands beside its words.
    assert re.findall(r"<svg (?![^>]*aria-hidden)", first) == []
    assert "cents, octave" in first


def test_states_differ_in_shape(client: TestClient) -> None:
    page = closed_up(client.get("/reeds").text)
    found = set(re.findall(r'<svg class="shape"[^>]*>(.*?)</svg> ?([a-z ]+)<', page))
    assert len(found) >= 4
    assert len({shape for shape, _ in found}) == len({name for _, name in found}) == len(found)


def test_the_beam_lies_as_the_words_say(app: Starlette) -> None:
    """Wide is up at high A, narrow is down; low A alone as the reference lies on the target."""
    lines = [one for one in list_page(app.state.context.ledger, Asked()).lines if one.beam is not None]
    assert len(lines) > 5
    for line in lines:
        assert line.beam is not None
        assert 0.0 < min(line.beam.low, line.beam.high) <= max(line.beam.low, line.beam.high) < BEAM_HEIGHT
        if abs(line.beam.low - line.beam.high) > 0.2 and not line.beam.beyond:
            assert ("octave wide" in line.tilt) == (line.beam.high < line.beam.low)


def test_a_bar_is_as_long_as_the_pressure() -> None:
    def bar(kpa: float, before: str | None = None) -> tuple[float, bool]:
        known = KnownStrength(kpa=Uncertain(value=kpa, sd=None), at="2026-03-02", before=before)
        found = strength_bar(known, by_mouth=False)
        assert found is not None
        return found.reach, found.doubtful

    assert bar(6.0) == (BAR_WIDTH / 2, False)
    assert bar(6.0, "before the pinch") == (BAR_WIDTH / 2, True)
    assert bar(99.0)[0] == BAR_WIDTH
    assert strength_bar(None, by_mouth=False) is None


def test_a_page_of_reeds_asks_as_often_however_many_there_are(
    app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = app.state.context.ledger
    asked: list[str] = []
    with ledger.reading() as reader:
        kind = type(reader.connection)
    inner = kind.rows

    def counted(self: object, sql: str, *values: object) -> object:
        asked.append(sql)
        return inner(self, sql, *values)

    monkeypatch.setattr(kind, "rows", counted)
    one = list_page(ledger, Asked(search="10"))
    few = len(asked)
    asked.clear()
    many = list_page(ledger, Asked())
    assert len(one.lines) < 3
    assert len(many.lines) > 20
    assert len(asked) <= few + 2


def test_the_last_act_of_each_reed_is_the_one_its_story_ends_with(app: Starlette) -> None:
    with app.state.context.ledger.reading() as reader:
        reeds = reader.rows(ReedRecord)
        last = reader.last_acts(ReedRecord, [reed.id for reed in reeds])
        for reed in reeds:
            assert last[reed.id].id == reader.story(ReedRecord, reed.id, newest=1)[0].id


@pytest.mark.parametrize(
    ("path", "there", "not_there"),
    [
        ("/players?search=isla", "Isla Penhallow", "/players/2"),
        ("/history?search=took+in", "took in 12 reeds", "logged"),
        ("/takes?search=no+such+file", "No take yet fits", "/takes/1"),
    ],
)
def test_searches_stand_in_the_address(client: TestClient, path: str, there: str, not_there: str) -> None:
    main = client.get(path).text.split("<main")[1]
    assert there in main
    assert not_there not in main
    assert f'value="{path.split("=")[1].replace("+", " ")}"' in main
    assert client.get(path.split("?", maxsplit=1)[0] + "?search=%25_no").status_code == 200


def test_a_search_of_history_goes_on_in_what_it_found(client: TestClient) -> None:
    for _ in range(51):
        client.post("/reeds/5/play", data={"minutes": "1"})
    page = unescape(client.get("/history?search=played").text)
    more = re.search(r'href="(/history\?search=played&before=\d+)"', page)
    assert more is not None
    assert "played reed 5 for 1 min" in client.get(more[1]).text


def test_reeds_that_are_alike_stand_in_the_order_of_their_numbers(client: TestClient) -> None:
    client.post("/reeds", data={"name": "many", "count": "12", "first": "201"})
    client.post("/reeds", data={"name": "many more", "count": "2", "first": "1001"})
    page = client.get("/choose?player=Isla%20Penhallow").text
    numbers = [int(one) for one in re.findall(r'href="/reeds/\d+">\s*(\d+)</a', page) if int(one) > 200]
    assert len(numbers) == 14
    assert numbers == sorted(numbers)


def test_two_reeds_stand_side_by_side(client: TestClient) -> None:
    page = unescape(closed_up(client.get("/compare?reed=1&reed=2").text))
    assert "Reed 1 and Reed 2" in page
    assert page.count('<figure class="beam">') == 2
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for number in (1, 2):
        tilt = closed_up(client.get(f"/reeds/{number}").text).split("<dt>Tilt</dt><dd>")[1].split("</dd>")[0]
        assert f"<td>{unescape(tilt)}</td>" in page
    assert '<th scope="row">Pinches</th>' in page


def test_two_lots_stand_side_by_side(client: TestClient) -> None:
    page = closed_up(client.get("/compare?lot=spring&lot=summer").text)
    row = page.split('<th scope="row">Reeds</th>')[1].split("</tr>")[0]
    assert "12 of 12 taken in" in row
    assert "6 of 6 taken in" in row


@pytest.mark.parametrize(
    ("query", "status", "said"),
    [
        ("?reed=1", 422, "two are compared"),
        ("?reed=1&reed=2&reed=3", 422, "two are compared"),
        ("?reed=1&reed=01", 404, "Did you mean 1?"),
        ("?lot=spring&lot=Summer", 404, "Did you mean summer?"),
        ("", 200, "Compare the lots"),
    ],
)
def test_what_cannot_be_compared_is_said(client: TestClient, query: str, status: int, said: str) -> None:
    answer = client.get(f"/compare{query}")
    assert answer.status_code == status
    assert said in answer.text
