"""On the page and by command: a name that is another's but for capitals, spaces or zeros makes no new row."""

from __future__ import annotations

from html import unescape
from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.ledger import the_ledger
from canebench.bench.acts.reeds.chanters import keep_chanter
from canebench.bench.acts.reeds.stock import take_in_lot
from canebench.store.records import ChanterRecord, LotRecord, PlayerRecord, Record, ReedRecord
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette
    from starlette.testclient import TestClient


@pytest.fixture
def bench(empty_client: TestClient) -> TestClient:
    told = {"reed": "7", "chanter": "Box 3", "player": "Ann"}
    assert empty_client.post("/fit", data=told).status_code == 200
    return empty_client


def _counts(app: Starlette) -> list[int]:
    kinds: list[type[Record]] = [ReedRecord, ChanterRecord, PlayerRecord, LotRecord]
    with app.state.context.ledger.reading() as reader:
        return [reader.count(kind) for kind in kinds]


@pytest.mark.parametrize(
    ("path", "told", "meant"),
    [
        ("/fit", {"reed": "07", "chanter": "Box 3"}, "7"),
        ("/fit", {"reed": "7", "chanter": "box  03"}, "Box 3"),
        ("/fit", {"reed": "7", "chanter": "Box 3", "player": "ANN"}, "Ann"),
        ("/players", {"name": "ann"}, "Ann"),
        ("/chanters", {"name": "BOX3"}, "Box 3"),
    ],
)
def test_the_one_there_is_is_offered_and_stands_in_the_form(
    bench: TestClient, empty_app: Starlette, path: str, told: dict[str, str], meant: str
) -> None:
    before = _counts(empty_app)
    asked = bench.post(path, data=told)
    assert asked.status_code == 422
    said = " ".join(unescape(asked.text).split())
    assert f"Did you mean {meant}? {meant} stands in the form now." in said
    assert f'value="{meant}"' in asked.text
    assert _counts(empty_app) == before


def test_control_another_name_is_another(bench: TestClient, empty_app: Starlette) -> None:
    bench.post("/fit", data={"reed": "70", "chanter": "Box 30", "player": "Anna"})
    assert _counts(empty_app)[:3] == [2, 2, 2]


def test_a_lot_and_its_numbers(bench: TestClient, empty_app: Starlette) -> None:
    assert bench.post("/reeds", data={"name": "spring", "count": "2", "first": "10"}).status_code == 200
    same = bench.post("/reeds", data={"name": " Spring", "count": "2", "first": "20"})
    assert same.status_code == 422
    assert "there is &#39;spring&#39;" in same.text
    assert bench.post("/reeds", data={"name": "other", "count": "2", "first": "6"}).status_code == 422
    assert _counts(empty_app) == [3, 1, 1, 1]


def test_a_new_name_that_is_anothers_is_refused(bench: TestClient) -> None:
    bench.post("/players", data={"name": "Bram"})
    told = {"name": "ANN", "version": "1", "read_name": "Bram"}
    refused = bench.post("/players/2", data=told)
    assert refused.status_code == 422
    # Its own name in other letters is its own to have; the notice tells the new one.
    renamed = bench.post("/players/2", data={**told, "name": "BRAM"})
    assert renamed.status_code == 200
    assert "player BRAM, until now Bram" in renamed.text


def test_by_command_it_is_asked_too(tmp_path: Path) -> None:
    ledger = str(tmp_path / "ledger.db")
    take_in_lot(the_ledger(ledger), who="t", name="spring", count=9)
    keep_chanter(the_ledger(ledger), "Box 3", who="t", sizes=None)
    at = ("--ledger", ledger)
    said = run("player", "Ann", "--blows", "28 inH2O", *at)
    assert said.exit_code == 0
    for args, meant in (
        (("player", "ann", "--blows", "28 inH2O"), "Ann"),
        (("reed", "07"), "7"),
        (("fit", "--reed", "07", "--chanter", "Box 3", "--typed", "low A=478"), "7"),
        (("fit", "--reed", "7", "--chanter", "box 03", "--typed", "low A=478"), "Box 3"),
    ):
        refused = run(*args, *at)
        assert refused.exit_code in (4, 5), args
        assert f"Did you mean {meant}?" in " ".join(refused.output.split()), args
    refused = run("lot", "Spring", "--count", "3", *at)
    assert refused.exit_code == 4
    assert "there is 'spring'" in " ".join(refused.output.split())
