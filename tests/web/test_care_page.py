"""Care as it is read: hearing from the ledger, each resting reed once, ceilings, when to mind what."""

from __future__ import annotations

import html
import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.reeds.people import set_player
from canebench.bench.views.care_now import care_now
from canebench.care.cautions import CAUTIONS, Hazard, Occasion, cautions_for
from canebench.store.records import MouthTestRecord, ReedRecord
from support.every_page import EVERY_PAGE
from support.web_client import closed_up

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def test_minutes_written_down_are_the_ones_reckoned(client: TestClient, app: Starlette) -> None:
    ledger = app.state.context.ledger
    nothing = care_now(ledger)
    assert (nothing.minutes_today, nothing.days_before) == ("0", "nothing")
    now = ledger.clock()
    with ledger.act("play", who="tester", said="played") as act:
        reed = act.rows(ReedRecord, limit=1)[0].id
        for days, minutes, level in ((0, 10.0, 100.0), (0, 5.0, 97.0), (3, 20.0, None), (8, 600.0, 120.0)):
            at = (now - timedelta(days=days)).isoformat()
            act.insert("plays", {"reed_id": reed, "at": at, "minutes": minutes, "level_dba": level})
    found = care_now(ledger)
    # The loudest of the week; a day that is more than six days back is no part of it.
    assert (found.level_dba, found.minutes_today, found.days_before) == ("100.0", "15", "20 min")
    doses = {rule: dose for rule, dose, _, _ in found.rules}
    # NIOSH 98-126, table 1-1: 15 min at 100 dB(A) is the day's whole dose. OSHA 1910.95, table G-16: 2 h.
    assert doses["NIOSH 98-126"] == "100 %"
    assert doses["OSHA 1910.95"] == "12 %"
    assert "Today: 15 min. The six days before: 20 min." in closed_up(client.get("/care").text)
    # What is typed takes the place of what was written down today, and only of that.
    typed = care_now(ledger, minutes=30.0)
    assert (typed.minutes_today, typed.days_before) == ("30", "20 min")


def test_a_reed_that_two_tried_rests_once(client: TestClient, app: Starlette) -> None:
    client.post("/reeds/5/mouth", data={"player": "Isla Penhallow"})
    client.post("/reeds/5/mouth", data={"player": "Isla Penhallow"})
    client.post("/reeds/6/mouth", data={"player": "Isla Penhallow"})
    resting = care_now(app.state.context.ledger).resting
    assert sorted(number for number, _ in resting) == ["5", "6"]
    with app.state.context.ledger.reading() as reader:
        assert reader.count(MouthTestRecord, {"reed_id": 5}) >= 2


def test_every_caution_is_told_and_every_occasion_leads_to_its_own(client: TestClient) -> None:
    page = closed_up(client.get("/care").text)
    places = set(re.findall(r'id="mind-([a-z]+)"', page))
    assert places == {hazard.value for hazard in Hazard}
    assert set(re.findall(r'href="#mind-([a-z]+)"', page)) <= places
    assert "local rules and qualified people" in page
    row = re.search(r'<th scope="row">A pinch</th><td>(.*?)</td>', page)
    assert row
    assert re.findall(r">([a-z]+)</a>", row[1]) == [one.hazard.value for one in cautions_for(Occasion.PINCH)]
    assert len(places) == len(CAUTIONS)


def test_ceilings_are_told_and_missing_ones_too(client: TestClient, app: Starlette) -> None:
    long = "Wilhelmina Featherstonehaugh of the North Quay at Ellerquay X"
    set_player(app.state.context.ledger, long, who="tester")
    page = closed_up(client.get("/care").text)
    assert re.search(rf"{long}</a></th><td>not set</td>", page)
    assert re.search(r"Isla Penhallow</a></th><td>[\d.]+ inH2O", page)


def test_an_empty_bench_says_what_to_do_first(empty_client: TestClient) -> None:
    page = empty_client.get("/care").text
    assert "No player yet" in page
    assert "None. A mouth test" in page
    assert "The six days before: nothing." in page


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_care_is_told_once_on_a_page(client: TestClient, path: str) -> None:
    assert _told_twice(client.get(path).text) == []


def test_care_told_twice_is_noticed(client: TestClient) -> None:
    """Control: the same caution at each of two acts."""
    page = client.get("/reeds/5").text
    assert page.count("Take care") == 1
    assert len(_told_twice(page + CAUTIONS[Hazard.BLADES].say)) == 1
    assert "Take care" in _told_twice(page + "Take care")


def _told_twice(page: str) -> list[str]:
    said = ["Take care", *(html.escape(one.say, quote=False) for one in CAUTIONS.values())]
    text = closed_up(page).replace("&#39;", "'")
    return [one for one in said if text.count(one) > 1]


def test_each_act_on_a_reed_names_what_to_mind_there(client: TestClient) -> None:
    page = closed_up(client.get("/reeds/5").text)
    told = set(re.findall(r'<dt id="mind-([a-z]+)">', page))
    for summary, due in (
        ("Strength", Occasion.GRADE_STRENGTH),
        ("A pinch", Occasion.PINCH),
        ("Playing", Occasion.PLAY_ALONE),
        ("A mouth test", Occasion.MOUTH_TEST),
    ):
        act = page.partition(f"<summary>{summary}</summary>")[2].partition("</details>")[0]
        named = re.findall(r'href="#mind-([a-z]+)"', act)
        assert named == [one.hazard.value for one in cautions_for(due)]
        assert set(named) <= told
