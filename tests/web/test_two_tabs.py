"""Two pages of one thing: the one that is behind is told so, and nothing is counted twice or written over."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.fitting.fit_reed import Place, fit_reed
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.one_round import one_round
from canebench.bench.acts.fitting.type_take import Typed
from canebench.bench.acts.ledger import StaleEditError
from canebench.store.records import EaseRecord, PlayerRecord, SettingRecord, TakeRecord

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


_FIRST = {"low A": "475.2", "high A": "935", "how": "typed", "unit": "Hz"}
_NEXT = {"low A": "476.5", "high A": "941", "how": "typed", "unit": "Hz"}


def _typed(of: dict[str, str]) -> dict[str, str]:
    return {f"typed-{name}" if "A" in name else name: value for name, value in of.items()}


def _hidden(page: str, form: str) -> dict[str, str]:
    """What a browser sends back of a form without being asked."""
    inside = page.split(f'action="{form}"')[1].split("</form>", maxsplit=1)[0]
    found = re.findall(r'<input\s+type="hidden"\s+name="([^"]+)"\s+value="([^"]*)"', inside)
    return {name: unescape(value) for name, value in found}


@pytest.fixture
def place(empty_client: TestClient) -> str:
    answer = empty_client.post("/fit", data={"reed": "7", "chanter": "new one"}, follow_redirects=False)
    found = str(answer.headers["location"]).partition("?")[0]
    first = empty_client.post(f"{found}/take", data={**_typed(_FIRST), "since": "nothing"})
    assert first.status_code == 200
    return found


def _seats(app: Starlette) -> list[float]:
    with app.state.context.ledger.reading() as reader:
        return [one.seat_mm for one in reader.rows(SettingRecord)]


@pytest.mark.parametrize("since", ["act", "all", "nothing"])
def test_an_act_told_by_two_tabs_counts_once(
    empty_client: TestClient, empty_app: Starlette, place: str, since: str
) -> None:
    tab = _hidden(empty_client.get(place).text, f"{place}/take")
    assert {"read_take", "read_act"} <= tab.keys()
    told = {**_typed(_NEXT), **tab, "since": "act"}
    assert empty_client.post(f"{place}/take", data=told).status_code == 200
    seats = _seats(empty_app)
    assert len(seats) == 2
    second = empty_client.post(f"{place}/take", data={**told, "since": since})
    assert second.status_code == 409
    assert _seats(empty_app) == seats
    said = unescape(second.text)
    assert "take 1, as seated by hand, firm then" in said
    assert f"take 2, {seats[1]:g} mm deeper than the hand seat now" in said
    # The answer was to another question: it is asked anew, about what stands now.
    assert "checked" not in second.text
    assert _hidden(second.text, f"{place}/take")["read_take"] == "2"


def test_control_without_what_was_read_it_would_count_twice(
    empty_client: TestClient, empty_app: Starlette, place: str
) -> None:
    told = {**_typed(_NEXT), "since": "act"}
    for _ in range(2):
        assert empty_client.post(f"{place}/take", data=told).status_code == 200
    seats = _seats(empty_app)
    assert len(seats) == 3
    assert seats[2] != seats[1]


def test_an_act_that_is_no_longer_planned_is_not_taken_as_done(
    empty_client: TestClient, empty_app: Starlette, place: str
) -> None:
    tab = _hidden(empty_client.get(place).text, f"{place}/take")
    told = {**_typed(_NEXT), **tab, "read_act": "Pinch it.", "since": "act"}
    refused = empty_client.post(f"{place}/take", data=told)
    assert refused.status_code == 409
    assert "“Pinch it.” then" in unescape(refused.text)
    assert len(_seats(empty_app)) == 1
    # What was not done by the plan needs none.
    assert empty_client.post(f"{place}/take", data={**told, "since": "nothing"}).status_code == 200


def test_a_take_that_comes_between_reading_and_writing_is_noticed(
    empty_app: Starlette, empty_client: TestClient, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the command as by the page: whoever is second in the ledger is refused."""
    del empty_client, place
    ledger = empty_app.state.context.ledger
    request = FitRequest(heard={n: Typed(value=float(_NEXT[n]), unit="Hz") for n in ("low A", "high A")})
    inner = one_round

    def other_first(*given: object) -> object:
        monkeypatch.setattr(f"{fit_reed.__module__}.one_round", inner)
        fit_reed(ledger, request, place=Place(reed="7", chanter="new one"), who="other")
        return inner(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(f"{fit_reed.__module__}.one_round", other_first)
    with pytest.raises(StaleEditError, match="newest take: take 1"):
        fit_reed(ledger, request, place=Place(reed="7", chanter="new one"), who="tester")
    with ledger.reading() as reader:
        assert reader.count(TakeRecord) == 2


def test_a_stale_edit_pressed_again_writes_nothing_over(client: TestClient, app: Starlette) -> None:
    def row() -> PlayerRecord:
        with app.state.context.ledger.reading() as reader:
            found: PlayerRecord = reader.row(PlayerRecord, 1)
            return found

    read = _hidden(client.get("/players/1").text, "/players/1")
    told = {**read, "name": read["read_name"], "blows_kpa": "6 kPa", "ceiling_kpa": ""}
    assert client.post("/players/1", data={**told, "remarks": "theirs"}).status_code == 200
    mine = {**told, "remarks": "mine"}
    for _ in range(3):
        stale = client.post("/players/1", data=mine)
        assert stale.status_code == 409
        assert "remarks: nothing then, “theirs” now" in unescape(stale.text)
        assert "None" not in re.sub(r"<[^>]*>", "", stale.text)
        assert row().remarks == "theirs"
        # As a browser sends it from the page that it was shown.
        mine = {**mine, **_hidden(stale.text, "/players/1")}
    over = re.search(r'name="over" value="(\d+)"', stale.text)
    assert over is not None
    assert client.post("/players/1", data={**mine, "over": over[1]}).status_code == 200
    assert row().remarks == "mine"
    # What was seen is what is written over, and nothing that came after it.
    assert client.post("/players/1", data={**mine, "over": over[1]}).status_code == 409


def test_another_mistake_meanwhile_does_not_take_a_newer_version_for_read(client: TestClient) -> None:
    read = _hidden(client.get("/players/1").text, "/players/1")
    told = {**read, "name": read["read_name"]}
    client.post("/players/1", data={**told, "remarks": "theirs"})
    wrong = client.post("/players/1", data={**told, "blows_kpa": "a lot"})
    assert wrong.status_code == 422
    assert _hidden(wrong.text, "/players/1")["version"] == read["version"]


def test_whose_it_was_is_told_by_name(client: TestClient) -> None:
    read = _hidden(client.get("/reeds/5").text, "/reeds/5/remark")
    client.post("/reeds/5/remark", data={**read, "player": "Isla Penhallow"})
    stale = client.post("/reeds/5/remark", data={**read, "remarks": "dark"})
    assert stale.status_code == 409
    assert "Isla Penhallow now" in unescape(stale.text)
    assert "reed 5 was changed" in stale.text


def test_no_pinch_is_counted_twice(empty_client: TestClient, empty_app: Starlette, place: str) -> None:
    tab = _hidden(empty_client.get(place).text, f"{place}/take")
    told = {**_typed(_NEXT), **tab, "since": "other", "pinched": "1"}
    assert empty_client.post(f"{place}/take", data=told).status_code == 200
    assert empty_client.post(f"{place}/take", data=told).status_code == 409
    with empty_app.state.context.ledger.reading() as reader:
        assert reader.count(EaseRecord) == 1
