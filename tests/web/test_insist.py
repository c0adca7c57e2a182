"""On the page: what is advised against is refused with its reason and a box to insist, and kept so."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.store.records import EaseRecord, PlayerRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

_BOX = 'name="insist"'
_TYPED = {"how": "typed", "since": "nothing", "unit": "Hz", "typed-low A": "476", "typed-high A": "952"}
#: What a player may not do with a reed that rests.
_RESTING = {
    "begin": ("/fit", {"reed": "6", "chanter": "number 1", "player": "Isla Penhallow"}),
    "play": ("/reeds/6/play", {"minutes": "5", "player": "Isla Penhallow"}),
    "strength": ("/reeds/6/strength", {"playing": "29", "unit": "inH2O", "player": "Isla Penhallow"}),
}


@pytest.mark.parametrize("what", _RESTING)
def test_a_reed_that_rests_is_refused_to_another_mouth(client: TestClient, what: str) -> None:
    address, fields = _RESTING[what]
    client.post("/reeds/6/mouth", data={"player": "Effie Garrow"})
    refused = client.post(address, data=fields)
    assert refused.status_code == 422
    assert "it rests from the mouth of Effie Garrow until" in refused.text
    assert refused.text.count(_BOX) == 1
    assert "Isla Penhallow" in refused.text
    kept = client.post(address, data={**fields, "insist": "1"})
    assert kept.status_code == 200
    assert "insisted: it rests from the mouth of Effie Garrow" in client.get("/reeds/6").text


@pytest.mark.parametrize("what", _RESTING)
def test_control_it_is_free_for_the_same_mouth(client: TestClient, what: str) -> None:
    address, fields = _RESTING[what]
    client.post("/reeds/6/mouth", data={"player": "Effie Garrow"})
    answer = client.post(address, data={**fields, "player": "Effie Garrow"})
    assert answer.status_code == 200
    assert _BOX not in answer.text
    assert "insisted" not in client.get("/reeds/6").text


def test_other_errors_offer_no_box(client: TestClient) -> None:
    """Control: nobody can insist on minutes below 0."""
    refused = client.post("/reeds/6/play", data={"minutes": "-5"})
    assert refused.status_code == 422
    assert _BOX not in refused.text


def test_a_fitting_whose_reed_rests_says_so_and_keeps_takes_as_insisted(
    client: TestClient, app: Starlette
) -> None:
    place = client.post("/fit", data=_RESTING["begin"][1]).url.path
    assert "is advised against" not in client.get(place).text
    client.post("/reeds/6/mouth", data={"player": "Effie Garrow"})
    # A page that was opened before that is refused once, and then says so.
    refused = client.post(f"{place}/take", data=_TYPED)
    assert refused.status_code == 422
    for page in (refused.text, client.get(place).text):
        assert "is advised against now" in page
        assert "rests from the mouth of Effie Garrow until" in page
        assert 'name="against_told" value="1"' in page
    assert client.post(f"{place}/take", data={**_TYPED, "against_told": "1"}).status_code == 200
    with app.state.context.ledger.reading() as reader:
        assert reader.count(TakeRecord, {"reed_id": 6}) == 1
        assert "insisted: it rests" in reader.history(limit=1)[0].said


def test_without_a_player_told_it_is_the_owners(client: TestClient) -> None:
    client.post("/reeds/6/remark", data={"player": "Isla Penhallow", "version": "1"})
    client.post("/reeds/6/mouth", data={"player": "Effie Garrow"})
    refused = client.post("/fit", data={"reed": "6", "chanter": "number 1"})
    assert refused.status_code == 422
    assert "Isla Penhallow was given; it rests from the mouth of Effie Garrow" in refused.text


@pytest.mark.parametrize("player", [{"player": "Somebody New"}, {}])
def test_a_new_players_mouth_and_that_of_the_chanters_owner_are_other_mouths(
    client: TestClient, app: Starlette, player: dict[str, str]
) -> None:
    told = {"name": "number 1", "player": "Isla Penhallow", "version": "1", "read_name": "number 1"}
    assert client.post("/chanters/1", data=told).status_code == 200
    with app.state.context.ledger.reading() as reader:
        assert reader.row(ReedRecord, 6).player_id is None
    client.post("/reeds/6/mouth", data={"player": "Effie Garrow"})
    refused = client.post("/fit", data={"reed": "6", "chanter": "number 1", **player})
    assert refused.status_code == 422
    assert "rests from the mouth of Effie Garrow" in refused.text
    with app.state.context.ledger.reading() as reader:
        assert reader.find(PlayerRecord, "name", "Somebody New") is None


def test_a_reed_that_goes_to_another_says_whose_it_was(client: TestClient) -> None:
    for player in ("Effie Garrow", "Isla Penhallow"):
        client.post("/fit", data={"reed": "6", "chanter": "number 1", "player": player})
    assert "reed 6 is for Isla Penhallow, no longer for Effie Garrow" in client.get("/reeds/6").text


def test_a_fourth_pinch_is_refused_with_a_box_to_insist(client: TestClient) -> None:
    for _ in range(3):
        page = client.post("/reeds/5/ease", data={"how": "pinch"})
        assert page.status_code == 200
        assert _BOX not in page.text
    refused = client.post("/reeds/5/ease", data={"how": "pinch", "remarks": "for the parade"})
    assert refused.status_code == 422
    assert "a reed bears 3 in its life" in refused.text
    assert refused.text.count(_BOX) == 1
    assert 'value="for the parade"' in refused.text
    assert "Pinched 3 times" in client.get("/reeds/5").text
    kept = client.post("/reeds/5/ease", data={"how": "pinch", "insist": "1"})
    assert "Pinched 4 times, more than a reed bears" in kept.text
    assert "insisted: pinch 4 of 3" in kept.text


def test_in_a_fitting_the_fourth_pinch_is_refused_before_the_take_is_kept(
    client: TestClient, app: Starlette
) -> None:
    place = client.post("/fit", data={"reed": "5", "chanter": "number 1"}).url.path
    told = {**_TYPED, "since": "other", "pinched": "on"}
    for _ in range(3):
        assert client.post(f"{place}/take", data=told).status_code == 200
    refused = client.post(f"{place}/take", data=told)
    assert refused.status_code == 422
    assert "a reed bears 3 in its life" in refused.text
    assert refused.text.count(_BOX) == 1
    ledger = app.state.context.ledger
    with ledger.reading() as reader:
        assert reader.count(TakeRecord, {"reed_id": 5}) == reader.count(EaseRecord, {"reed_id": 5}) == 3
    assert client.post(f"{place}/take", data={**told, "insist": "1"}).status_code == 200
    with ledger.reading() as reader:
        takes, eased = (reader.rows(one, {"reed_id": 5}) for one in (TakeRecord, EaseRecord))
        # The take that told of a pinch heard the reed after it.
        assert [take.at for take in takes] == [ease.at for ease in eased]
        assert eased[-1].remarks == "insisted: pinch 4 of 3"


def test_no_plan_has_a_pinch_past_the_most_however_many_are_asked_for(
    client: TestClient, app: Starlette
) -> None:
    place = client.post("/fit", data={"reed": "5", "chanter": "number 1"}).url.path
    client.post(f"{place}/take", data=_TYPED)
    reed, chanter = (int(part) for part in re.findall(r"\d+", place))
    asked = FitRequest(pinches_left=2)
    left = []
    for _ in range(4):
        fitting = app.state.fittings.now(reed, chanter, asked).fitting
        assert fitting.limits.pinches_left == 2
        left.append(fitting.within_a_life().limits.pinches_left)
        client.post("/reeds/5/ease", data={"how": "pinch"})
    assert left == [2, 2, 1, 0]


def test_what_a_player_tells_has_its_bounds(client: TestClient) -> None:
    told = {"name": "Effie Two", "blows": "7 kPa", "ceiling": "6 kPa"}
    for address, fields, said in (
        ("/players", told, "it lies above what the player blows now, 28.1 inH2O (7.0 kPa)"),
        ("/players", {**told, "blows": "0 kPa"}, "what the player blows: 0.00 inH2O"),
        ("/players", {**told, "ceiling": "0 kPa"}, "ceiling: 0.00 inH2O"),
        (
            "/players/1",
            {"name": "I", "version": "1", "blows_kpa": "7 kPa", "ceiling_kpa": "6 kPa"},
            "ceiling: ",
        ),
    ):
        refused = client.post(address, data=fields)
        assert refused.status_code == 422
        assert said in refused.text
    assert client.post("/players", data={**told, "ceiling": "8 kPa"}).status_code == 200
