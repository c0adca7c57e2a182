"""The takes' page as it is read: what it can be narrowed to, what is said of nothing, axes of the sound."""

from __future__ import annotations

import re
from importlib.resources import files
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.etree.ElementTree import fromstring

import pytest

from canebench.bench.acts.fitting.measure_take import DEMO_FILE
from canebench.bench.views import take_sound
from canebench.picture.wave_drawing import NARROW, WIDTH, wave_svg
from canebench.sound.files.decode import read_recording
from support.web_client import closed_up

if TYPE_CHECKING:
    from pathlib import Path
    from xml.etree.ElementTree import Element

    from starlette.testclient import TestClient

    from canebench.sound.files.recording import Recording

SVG = "{http://www.w3.org/2000/svg}"
PARTS = [(name, 2.5 * i, 2.5 * i + 2.0) for i, name in enumerate(("low G", "low A", "B", "C", "D", "high A"))]


def drawn(width: float, parts: list[tuple[str, float, float]], duration_s: float = 24.0) -> Element:
    svg = wave_svg(
        [(-0.5, 0.5)] * 20,
        duration_s=duration_s,
        parts=parts,
        title="t",
        spectrogram=("/takes/1/spectrogram.png", 4_000.0),
        width=width,
    )
    return fromstring(svg)  # noqa: S314 - our own


def texts(root: Element) -> dict[str, tuple[float, float]]:
    return {
        str(one.text): (float(one.attrib["x"]), float(one.attrib["y"])) for one in root.iter(f"{SVG}text")
    }


def test_the_list_is_narrowed_by_a_reeds_number(client: TestClient) -> None:
    page = closed_up(client.get("/takes?reed=1").text)
    assert re.search(r'<input id="takes-reed" name="reed" type="text" value="1"', page)
    assert "All takes" in page
    assert "All takes" not in client.get("/takes").text


def test_nothing_found_is_told_from_nothing_there(client: TestClient, empty_client: TestClient) -> None:
    assert "fits this choice" in client.get("/takes?reed=999").text
    beyond = client.get("/takes?page=7").text
    assert "There is no page 7" in beyond
    assert "No take yet" not in beyond
    empty = empty_client.get("/takes").text
    assert "Begin a" in empty
    assert 'id="takes-reed"' not in empty


@pytest.mark.parametrize("width", [WIDTH, NARROW])
def test_the_axes_lie_where_the_picture_does(width: float) -> None:
    root = drawn(width, PARTS)
    image = next(root.iter(f"{SVG}image"))
    x, y, along, high = (float(image.attrib[key]) for key in ("x", "y", "width", "height"))
    found = texts(root)
    for khz in range(5):
        name = f"{khz} kHz" if khz else "0"
        assert abs(found[name][1] - (y + high * (1 - khz / 4))) < 6, name
        assert found[name][0] < x
    assert abs(found["0 s"][0] - x) < 0.1
    for name, (middle, _) in found.items():
        # Centred letters are no wider than this to each side, so none is cut off.
        assert middle + len(name) * 4 <= width or name.endswith("Hz")
    bands = [one for one in root.iter(f"{SVG}rect") if float(one.attrib["width"]) < along]
    assert [float(one.attrib["x"]) for one in bands] == pytest.approx(
        [x + start * along / 24.0 for _, start, _ in PARTS], abs=0.1
    )


def test_names_never_lie_on_one_another() -> None:
    crowd = [("high G", 0.3 * i, 0.3 * i + 0.2) for i in range(60)]
    root = drawn(NARROW, crowd)
    rows: dict[float, list[float]] = {}
    for one in root.iter(f"{SVG}text"):
        if one.text == "high G":
            rows.setdefault(float(one.attrib["y"]), []).append(float(one.attrib["x"]))
    assert 1 < len(rows) <= 3
    for along in rows.values():
        assert all(b - a >= 6 * 8 for a, b in pairwise(along))
    # The control: were all of them written, they would touch.
    assert 0.3 * NARROW / 24.0 < 6 * 8


def test_a_recording_is_measured_once_however_often_it_is_looked_at(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = client.post("/fit", data={"reed": "50", "chanter": "number 1"}).url.path
    sound = (files("canebench") / "demo" / DEMO_FILE).read_bytes()
    client.post(
        f"{place}/take", data={"how": "file", "since": "nothing"}, files={"file": ("scale.ogg", sound)}
    )
    link = re.search(r'<a href="(/takes/\d+)">', client.get("/takes").text)
    assert link
    read: list[Path] = []

    def counted(path: Path) -> Recording:
        read.append(path)
        return read_recording(path)

    monkeypatch.setattr(take_sound, "read_recording", counted)
    first, again = (client.get(f"{link[1]}/sound").text for _ in range(2))
    assert first == again
    assert first.count(f'href="{link[1]}/spectrogram.png"') == 2
    assert len(read) == 1
    assert client.get(f"{link[1]}/spectrogram.png").headers["content-type"] == "image/png"
    # The recording is gone: what was kept at hand must not hide that.
    read[0].unlink()
    assert client.get(f"{link[1]}/sound").status_code == 404
    assert client.get(f"{link[1]}/audio.flac").status_code == 404
    assert "not on this machine" in client.get(link[1]).text
