"""Takes on the page: lists, numbers, sound to hear and to look at."""

from __future__ import annotations

import io
import re
from importlib.resources import files
from typing import TYPE_CHECKING

from PIL import Image

from canebench.bench.acts.fitting.measure_take import DEMO_FILE
from canebench.bench.views import browse_takes
from canebench.store.records import TakeRecord

if TYPE_CHECKING:
    import pytest
    from starlette.applications import Starlette
    from starlette.testclient import TestClient


def with_sound(client: TestClient) -> str:
    place = client.post("/fit", data={"reed": "50", "chanter": "number 1"}).url.path
    sound = (files("canebench") / "demo" / DEMO_FILE).read_bytes()
    answer = client.post(
        f"{place}/take", data={"how": "file", "since": "nothing"}, files={"file": ("scale.ogg", sound)}
    )
    assert answer.status_code == 200
    found = re.search(r'<a href="(/takes/\d+)">', client.get("/takes").text)
    assert found
    return found[1]


def test_the_list_is_filtered_and_paged(client: TestClient) -> None:
    assert client.get("/takes").text.count('data-label="Take"') == 18
    assert client.get("/takes?reed=1").text.count('data-label="Take"') == 3
    assert "No take yet" in client.get("/takes?reed=999").text


def test_pages_are_the_same_from_either_end(app: Starlette, monkeypatch: pytest.MonkeyPatch) -> None:
    """Late pages are read from the other end: each take stands on one page, newest first."""
    monkeypatch.setattr(browse_takes, "PAGE", 7)
    ledger = app.state.context.ledger
    pages = [browse_takes.list_takes(ledger, {}, page=number)[0] for number in (1, 2, 3, 4)]
    assert [len(page) for page in pages] == [7, 7, 4, 0]
    with ledger.reading() as reader:
        expected = [row.id for row in reader.rows(TakeRecord, order="-at")]
    assert [line.take.id for page in pages for line in page] == expected


def test_a_typed_take_has_no_recording(client: TestClient) -> None:
    page = client.get("/takes/1").text
    assert "The beam of this take" in page
    assert "audio" not in page
    for what in ("audio.flac", "spectrogram.png", "sound"):
        assert client.get(f"/takes/1/{what}").status_code == 404


def test_a_recording_is_heard_and_looked_at(client: TestClient) -> None:
    path = with_sound(client)
    assert "<audio" in client.get(path).text
    audio = client.get(f"{path}/audio.flac", headers={"range": "bytes=0-3"})
    assert audio.status_code == 206
    assert audio.content == b"fLaC"
    look = client.get(f"{path}/sound").text
    assert "Waveform of 24.0 s" in look
    assert look.count('<th scope="row">low G</th>') == 1
    picture = Image.open(io.BytesIO(client.get(f"{path}/spectrogram.png").content))
    assert picture.size[0] > 500


def test_a_removed_take_comes_back(client: TestClient) -> None:
    page = client.post("/takes/8/remove").text
    assert '"/takes/8"' not in page
    assert "lies in the bin" in client.get("/takes/8").text
    undo = re.search(r'action="(/undo/\d+)"', page)
    assert undo
    assert '"/takes/8"' in client.post(undo[1], data={"back": "/takes"}).text


def test_a_file_of_an_odd_name_is_measured_under_a_plain_one(client: TestClient) -> None:
    place = client.post("/fit", data={"reed": "50", "chanter": "number 1"}).url.path
    for name in ("..", ".", "a/..", "..\\..", "../x.wav"):
        answer = client.post(f"{place}/take", data={"how": "file"}, files={"file": (name, b"no sound")})
        assert answer.status_code == 422, name
