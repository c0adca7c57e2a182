"""What was done since the last take: never taken for granted, and no setting told in fields is ignored."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from canebench.store.records import EaseRecord, SettingRecord, TakeRecord

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

_TYPED = {"how": "typed", "unit": "Hz", "typed-low A": "476", "typed-high A": "948"}
#: The answers to what was done since, each with what stands in its tag.
_ANSWER = re.compile(r'<input\s+type="radio"\s+name="since"[^>]*>')


@pytest.fixture
def place(client: TestClient) -> str:
    """A fitting just begun."""
    return str(client.post("/fit", data={"reed": "88", "chanter": "number 1"}).url.path)


def seats(app: Starlette, place: str) -> list[float]:
    """The seat of each take of the fitting, in mm."""
    reed = int(place.split("/")[2])
    with app.state.context.ledger.reading() as reader:
        by_id = {row.id: row.seat_mm for row in reader.rows(SettingRecord, {"reed_id": reed})}
        return [by_id[take.setting_id] for take in reader.rows(TakeRecord, {"reed_id": reed})]


def test_nothing_is_chosen_beforehand(client: TestClient, place: str) -> None:
    first = _ANSWER.findall(client.get(place).text)
    later = _ANSWER.findall(client.post(f"{place}/take", data=_TYPED | {"since": "nothing"}).text)
    assert (len(first), len(later)) == (2, 4)
    assert not any("checked" in one for one in first + later)
    assert all("required" in one for one in first + later)


def test_what_was_answered_stands_there_again_after_a_refusal(client: TestClient, place: str) -> None:
    """Control: an answer would be seen."""
    refused = client.post(f"{place}/take", data={"how": "typed", "since": "nothing"})
    assert refused.status_code == 422
    assert [one for one in _ANSWER.findall(refused.text) if "checked" in one and 'value="nothing"' in one]


def test_without_an_answer_it_is_asked_for(client: TestClient, app: Starlette, place: str) -> None:
    for known in (0, 1):
        refused = client.post(f"{place}/take", data=_TYPED)
        assert refused.status_code == 422
        assert ("done since the last take" if known else "the setting now") in refused.text
        assert "nothing was given; one of them is needed" in refused.text
        assert len(seats(app, place)) == known
        assert client.post(f"{place}/take", data=_TYPED | {"since": "nothing"}).status_code == 200


def test_a_field_that_was_filled_in_is_the_answer_where_there_is_no_other(
    client: TestClient, app: Starlette, place: str
) -> None:
    for seat in ("0.5", "1.5"):
        assert client.post(f"{place}/take", data=_TYPED | {"seat": seat}).status_code == 200
    assert seats(app, place) == [0.5, 1.5]
    # What stood in the field and still stands there is no answer.
    assert client.post(f"{place}/take", data=_TYPED | {"seat": "1.5"}).status_code == 422


@pytest.mark.parametrize(
    ("filled", "said"),
    [
        ({"seat": "1.5"}, "seat 1.5 mm"),
        ({"tape-C": "2"}, "tape on the C hole 2 mm"),
        ({"pinched": "on"}, "a pinch"),
    ],
)
def test_a_field_against_the_answer_is_asked_about(
    client: TestClient, app: Starlette, place: str, filled: dict[str, str], said: str
) -> None:
    client.post(f"{place}/take", data=_TYPED | {"since": "nothing"})
    for since in ("nothing", "act"):
        refused = client.post(f"{place}/take", data=_TYPED | filled | {"since": since})
        assert refused.status_code == 422
        assert f"another setting too ({said})" in refused.text
        assert "“Something else”, where that setting is so" in refused.text
        assert '<div class="told shown">' in refused.text
    assert len(seats(app, place)) == 1
    assert client.post(f"{place}/take", data=_TYPED | filled | {"since": "other"}).status_code == 200
    assert len(seats(app, place)) == 2
    with app.state.context.ledger.reading() as reader:
        eased = reader.count(EaseRecord, {"reed_id": int(place.split("/")[2])})
    assert eased == ("pinched" in filled)


def test_fields_that_stand_as_they_were_are_not_asked_about(
    client: TestClient, app: Starlette, place: str
) -> None:
    """Control: the page sends them all, each time."""
    client.post(f"{place}/take", data=_TYPED | {"since": "other", "seat": "0.3", "tape-C": "1.5"})
    as_shown = {"seat": "0.3", "tape-C": "1.5", "tape-D": ""}
    assert client.post(f"{place}/take", data=_TYPED | as_shown | {"since": "nothing"}).status_code == 200
    assert seats(app, place) == [0.3, 0.3]
