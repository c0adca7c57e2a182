"""A spell of playing on the page: written down with the strength after it, and mended long afterwards."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING

import pytest

from canebench.store.records import PlayRecord, StrengthRecord
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from canebench.store.records import Record


def _rows(app: Starlette, record: type[Record], reed: int = 5) -> list[Record]:
    with app.state.context.ledger.reading() as reader:
        return list(reader.rows(record, {"reed_id": reed}))


def _counts(app: Starlette) -> tuple[int, int]:
    """Spells of reed 5, and readings of its strength but for the one that the season brings."""
    return len(_rows(app, PlayRecord)), len(_rows(app, StrengthRecord)) - 1


def _hidden(page: str, form: str) -> dict[str, str]:
    """What a browser sends back of a form without being asked."""
    inside = page.split(f'action="{form}"')[1].split("</form>", maxsplit=1)[0]
    found = re.findall(r'<input\s+type="hidden"\s+name="([^"]+)"\s+value="([^"]*)"', inside)
    return {name: unescape(value) for name, value in found}


@pytest.fixture
def spell(client: TestClient, app: Starlette) -> str:
    """The address of a spell of reed 5, 12 minutes of Rory's, plays at 26 inches after."""
    told = {"minutes": "12", "player": "Rory Tamlin", "playing": "26", "unit": "inH2O"}
    assert client.post("/reeds/5/play", data=told).status_code == 200
    (row,) = _rows(app, PlayRecord)
    return f"/reeds/5/spells/{row.id}"


def _told(client: TestClient, address: str, **told: str) -> dict[str, str]:
    """What the form of a spell sends, with something typed anew."""
    page = client.get(address).text
    stands = {name: re.search(rf'name="{name}"[^>]*value="([^"]*)"', page) for name in ("minutes", "at")}
    shown = {name: found[1] for name, found in stands.items() if found}
    return {**_hidden(page, address), **shown, "player": "Rory Tamlin", **told}


def test_one_press_writes_minutes_and_strength_and_one_undo_takes_both_back(
    client: TestClient, app: Starlette
) -> None:
    told = {"minutes": "12", "playing": "26", "unit": "inH2O", "by_mouth": "", "than": ""}
    page = client.post("/reeds/5/play", data=told).text
    assert "played reed 5 for 12 min, plays at 26 inH2O after" in page
    assert _counts(app) == (1, 1)
    undo = re.search(r'action="(/undo/\d+)"', page)
    assert undo
    client.post(undo[1], data={"back": "/reeds/5"})
    assert _counts(app) == (0, 0)
    # Control: left empty, the minutes alone.
    page = client.post("/reeds/5/play", data={**told, "playing": ""}).text
    assert "played reed 5 for 12 min." in page
    assert _counts(app) == (1, 0)


def test_a_strength_that_cannot_be_keeps_all_that_was_typed(client: TestClient, app: Starlette) -> None:
    told = {"minutes": "12", "playing": "300", "unit": "inH2O", "by_mouth": "same", "than": "1"}
    answer = client.post("/reeds/5/play", data=told)
    assert answer.status_code == 422
    assert "from 0 to 100 inH2O is allowed. Nearest that works: 30 inH2O" in answer.text
    form = closed_up(answer.text).split('action="/reeds/5/play"')[1].split("</form>")[0]
    for kept in ('value="12"', 'value="300"', "<option selected>same", 'value="1"'):
        assert kept in form
    assert _rows(app, PlayRecord) == []


def test_from_what_was_written_down_a_recording_is_one_press_away(client: TestClient) -> None:
    """In the reed's last chanter; where it has none, where its chanter is asked for."""
    link = re.compile(r'<a href="([^"]+)">Take a recording of it now</a>')
    played = link.findall(client.post("/reeds/4/play", data={"minutes": "12"}).text)
    assert played == ["/fit/4/4"]
    assert client.get(played[0]).status_code == 200
    new = link.findall(client.post("/reeds/15/play", data={"minutes": "12"}).text)
    assert new == ["/?reed=15"]
    assert re.search(r'name="reed"[^>]*value="15"', client.get(new[0]).text)
    # Control: not after another act, nor for a reed that is set aside.
    assert not link.findall(client.post("/reeds/15/ease", data={"how": "pinch"}).text)
    client.post("/reeds/15/move", data={"to": "set aside", "reason": "a chip"})
    assert not link.findall(client.post("/reeds/15/play", data={"minutes": "1"}).text)


def test_a_spell_is_mended_from_the_story_after_other_acts(
    client: TestClient, app: Starlette, spell: str
) -> None:
    client.post("/reeds/5/strength", data={"playing": "25", "unit": "inH2O"})
    client.post("/reeds/5/ease", data={"how": "pinch"})
    assert f'<a href="{spell}">Mend</a>' in closed_up(client.get("/reeds/5").text)
    assert f'href="{spell}"' in client.get("/reeds/5/spells").text
    assert "12 min" in closed_up(client.get("/care").text)
    told = _told(client, spell, minutes="10", at="2026-07-15 19:05", player="Effie Garrow")
    page = client.post(spell, data=told)
    assert page.status_code == 200
    said = "10 min, before 12 min; 2026-07-15 19:05, before "
    assert said in page.text
    assert "; Effie Garrow, before Rory Tamlin" in page.text
    # What is worked out from the rows has followed.
    assert "10 min in" in closed_up(page.text)
    assert "12 min" not in closed_up(client.get("/care").text)
    undo = re.search(r'action="(/undo/\d+)"', page.text)
    assert undo
    client.post(undo[1], data={"back": "/reeds/5"})
    assert [(row.minutes, row.at > "2026-07-16") for row in _rows(app, PlayRecord)] == [(12.0, True)]  # type: ignore[attr-defined]


def test_a_time_that_is_left_stays_to_the_millisecond(client: TestClient, app: Starlette, spell: str) -> None:
    (before,) = _rows(app, PlayRecord)
    assert client.post(spell, data=_told(client, spell, minutes="10")).status_code == 200
    (after,) = _rows(app, PlayRecord)
    assert (before.at, before.player_id) == (after.at, after.player_id)  # type: ignore[attr-defined]
    assert client.post(spell, data=_told(client, spell)).status_code == 422


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (
            {"minutes": "-5"},
            "minutes: -5 min was given; from 0 to 1440 min is allowed. Nearest that works: 5 min",
        ),
        ({"minutes": ""}, "minutes: '' was given; a number is needed"),
        ({"at": "2999-01-01 10:00"}, "when: '2999-01-01 10:00' was given; a time from 1900 until now"),
        ({"at": "last night"}, "a day and a time are needed. Nearest that works: 20"),
        ({"player": "Nobody"}, "There is no player named 'Nobody'"),
    ],
)
def test_what_cannot_have_been_is_said_and_stays_typed(
    client: TestClient, app: Starlette, spell: str, told: dict[str, str], said: str
) -> None:
    before = _rows(app, PlayRecord)
    answer = client.post(spell, data=_told(client, spell, **told))
    assert answer.status_code in (404, 422)
    assert said in unescape(answer.text)
    for name in told.keys() & {"minutes", "at"}:
        assert re.search(rf'name="{name}"[^>]*value="{re.escape(told[name])}"', answer.text)
    assert _rows(app, PlayRecord) == before


def test_the_hour_that_the_bands_clock_skips_is_refused(client: TestClient, spell: str) -> None:
    with_zone = {**_hidden(client.get("/settings").text, "/settings"), "zone": "Europe/London"}
    client.post("/settings", data=with_zone)
    told = _told(client, spell, at="2026-03-29 01:30")
    assert "went forward then" in client.post(spell, data=told).text
    # Control: an hour on there is such a time.
    assert client.post(spell, data={**told, "at": "2026-03-29 02:30"}).status_code == 200


def test_a_stale_mending_shows_both_versions_and_writes_nothing_over(
    client: TestClient, app: Starlette, spell: str
) -> None:
    mine = _told(client, spell, minutes="9")
    theirs = _told(client, spell, minutes="7", player="Effie Garrow")
    assert client.post(spell, data=theirs).status_code == 200
    for _ in range(2):
        stale = client.post(spell, data=mine)
        assert stale.status_code == 409
        assert "minutes: 12 min then, 7 min now" in stale.text
        assert "player: Rory Tamlin then, Effie Garrow now" in stale.text
        assert [row.minutes for row in _rows(app, PlayRecord)] == [7.0]  # type: ignore[attr-defined]
        mine = {**mine, **_hidden(stale.text, spell)}
    over = re.search(r'name="over" value="(\d+)"', stale.text)
    assert over is not None
    assert client.post(spell, data={**mine, "over": over[1]}).status_code == 200
    assert [row.minutes for row in _rows(app, PlayRecord)] == [9.0]  # type: ignore[attr-defined]


def test_a_form_that_tells_nothing_of_what_was_read_is_refused(
    client: TestClient, app: Starlette, spell: str
) -> None:
    before = _rows(app, PlayRecord)
    assert client.post(spell, data={}).status_code == 422
    assert client.post(spell, data={"minutes": "3", "at": "2026-07-15 19:05"}).status_code == 409
    assert (
        client.post(spell, data={"minutes": "3", "at": "x", "read_at": "x", "version": "1"}).status_code
        == 422
    )
    assert client.post(f"{spell}/remove", data={}).status_code == 409
    assert _rows(app, PlayRecord) == before


def test_what_someone_else_mended_is_not_taken_back_unseen(
    client: TestClient, app: Starlette, spell: str
) -> None:
    read = _hidden(client.get(spell).text, f"{spell}/remove")
    client.post(spell, data=_told(client, spell, minutes="7"))
    stale = client.post(f"{spell}/remove", data=read)
    assert stale.status_code == 409
    assert "minutes: 12 min then, 7 min now" in stale.text
    assert len(_rows(app, PlayRecord)) == 1


def test_a_spell_is_taken_back_and_brought_back(client: TestClient, app: Starlette, spell: str) -> None:
    page = client.post(f"{spell}/remove", data=_hidden(client.get(spell).text, f"{spell}/remove"))
    assert page.status_code == 200
    assert "took back 12 min of playing reed 5" in page.text
    assert _counts(app) == (0, 0)
    gone = client.get(spell).text
    assert "lies in the bin" in gone
    assert f'action="{spell}"' not in gone
    assert client.post(spell, data={"minutes": "3", "version": "2"}).status_code == 404
    back = re.search(r'action="(/undo/\d+)"', gone.split("Bring it back")[0])
    assert back
    assert client.post(back[1], data={"back": spell}).status_code == 200
    assert _counts(app) == (1, 1)


def test_a_spell_is_another_reeds_under_no_address(client: TestClient, spell: str) -> None:
    assert client.get(spell.replace("/reeds/5/", "/reeds/6/")).status_code == 404
    assert client.get("/reeds/5/spells/99999").status_code == 404
    assert client.get("/reeds/5/spells?page=x").status_code == 422
    assert "There is no page 9" in client.get("/reeds/5/spells?page=9").text
    assert "Not played yet" in client.get("/reeds/6/spells").text


def test_the_forecast_follows_a_mended_spell(client: TestClient) -> None:
    """Minutes left until settled are those of what was played."""

    def ahead() -> str:
        return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", client.get("/reeds/19/ahead").text))

    client.post("/reeds/19/play", data={"minutes": "120"})
    long = ahead()
    # Control: it is the same when it is asked again.
    assert ahead() == long
    found = re.search(r'href="(/reeds/19/spells/\d+)"', client.get("/reeds/19/spells").text)
    assert found
    told = _told(client, found[1], minutes="2", player="")
    assert client.post(found[1], data=told).status_code == 200
    assert ahead() != long
