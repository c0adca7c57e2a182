"""Fitting files: written whole or not at all, and refused in words when they are no fittings."""

from __future__ import annotations

import json
import math
import os
import stat
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canebench.base.errors import CanebenchError, InputError, NotFoundError
from canebench.base.notes import NOTES
from canebench.base.scales import scale_named
from canebench.base.setting import Setting
from canebench.base.whole_file import written_with
from canebench.bench.acts.fitting import fitting_file
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.fitting_file import fitting_object, load_fitting, save_fitting
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits
from canebench.fitting.take import Take

if TYPE_CHECKING:
    from collections.abc import Iterator

_PLANNED = (Setting(seat_mm=0.25), Setting(seat_mm=0.25, tape_mm={"E": 1.2}, pinches=1))
_FUZZ = settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])


def _fitting() -> Fitting:
    hz = np.linspace(420.0, 960.0, len(NOTES))
    hz[3] = np.nan
    sd = np.where(np.isnan(hz), np.inf, 0.5)
    take = Take(setting=Setting(tape_mm={"low A": 1.0}), hz=hz, sd_cents=sd)
    return Fitting(
        takes=(FittingTake(origin="take – 7.wav", take=take),),
        reference_hz=480.0,
        scale=scale_named("letter-1929"),
        limits=Limits(deeper_mm=1.5, most_strips=3, pinches_left=2),
        hemp=Hemp(inches_per_mm=3.5),
        planned=_PLANNED,
    )


def _object() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(json.dumps(fitting_object(_fitting())))
    return found


def _saved(folder: Path, content: object) -> Path:
    path = folder / "reed.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def test_a_fitting_comes_back_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "reed.json"
    save_fitting(_fitting(), path)
    found = load_fitting(path)
    assert found.planned == _PLANNED
    assert found.scale == _fitting().scale
    assert found.limits == _fitting().limits
    assert found.hemp == _fitting().hemp
    assert found.chanter == _fitting().chanter
    assert found.reference_hz == 480.0
    assert found.present == _fitting().present
    take, was = found.takes[0].take, _fitting().takes[0].take
    assert take.hz == pytest.approx(was.hz, nan_ok=True)
    assert np.array_equal(take.sd_cents, was.sd_cents)
    assert fitting_object(found) == fitting_object(_fitting())
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(("seat_mm", "nearest"), [(3.5, "3 mm"), (-9.0, "-4 mm")])
def test_a_seat_where_no_reed_can_sit_is_refused(tmp_path: Path, seat_mm: float, nearest: str) -> None:
    """In a take and in a planned setting; control: the bottom itself."""
    for whose in ("takes", "planned"):
        found = _object()
        setting = found[whose][0]["setting"] if whose == "takes" else found[whose][0]
        setting["seat_mm"] = seat_mm
        with pytest.raises(InputError, match=f"1: seat_mm: .*leaks.*Nearest that works: {nearest}"):
            load_fitting(_saved(tmp_path, found))
        setting["seat_mm"] = 3.0
        load_fitting(_saved(tmp_path, found))


def test_a_figure_changed_on_the_way_would_be_noticed(tmp_path: Path) -> None:
    """The control of the round trip."""
    content = _object()
    content["takes"][0]["hz"]["E"] += 0.001
    found = load_fitting(_saved(tmp_path, content))
    assert fitting_object(found) != fitting_object(_fitting())


def test_a_fitting_may_be_read_by_whom_the_folder_lets(tmp_path: Path) -> None:
    """As any new file: a band's shared folder must not end up with files that one member alone can read."""
    save_fitting(_fitting(), tmp_path / "reed.json")
    (tmp_path / "usual").touch()
    ours, usual = (stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("reed.json", "usual"))
    assert ours == usual


@contextmanager
def _failing(monkeypatch: pytest.MonkeyPatch, step: str) -> Iterator[None]:
    def fails(*_arguments: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(step, fails)
        yield


@pytest.mark.parametrize("step", ["os.fsync", "pathlib.Path.replace"])
def test_a_failure_while_writing_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "reed.json"
    save_fitting(replace(_fitting(), planned=()), path)
    before = path.read_bytes()
    with _failing(monkeypatch, step), pytest.raises(InputError, match=r"No space left.*nothing was changed"):
        save_fitting(_fitting(), path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_writing_in_place_would_be_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: a writer that opens the very file has lost it when the disk is full."""
    path = tmp_path / "reed.json"
    save_fitting(replace(_fitting(), planned=()), path)
    before = path.read_bytes()
    with _failing(monkeypatch, "os.fsync"), pytest.raises(OSError, match="No space left"):
        _write_in_place(path, "{")
    assert path.read_bytes() != before


def test_a_file_that_goes_with_an_act_appears_once_that_is_done(tmp_path: Path) -> None:
    path = tmp_path / "reed.json"
    with written_with(path, b"whole", field="fitting file"):
        assert not path.exists()
    assert path.read_bytes() == b"whole"
    assert list(tmp_path.iterdir()) == [path]
    with written_with(None, b"whole", field="fitting file"):
        pass
    assert list(tmp_path.iterdir()) == [path]


def test_an_act_that_fails_leaves_the_file_that_goes_with_it_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "reed.json"
    path.write_bytes(b"before")
    with pytest.raises(KeyError), written_with(path, b"whole", field="fitting file"):
        raise KeyError("the act")
    assert path.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_for_which_there_is_no_place_after_the_act_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there is none before it, the act is not begun."""
    path, done = tmp_path / "reed.json", []
    with (
        _failing(monkeypatch, "pathlib.Path.replace"),
        pytest.raises(InputError, match=r"fitting file .*No space left.*all else is done; ask for the file"),
        written_with(path, b"whole", field="fitting file"),
    ):
        done.append("act")
    with (
        _failing(monkeypatch, "os.fsync"),
        pytest.raises(InputError, match="nothing was changed"),
        written_with(path, b"whole", field="fitting file"),
    ):
        done.append("another")
    assert done == ["act"]
    assert list(tmp_path.iterdir()) == []


def test_what_the_disk_is_told_to_keep_is_the_whole_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before it has its name: a power cut leaves the old file or the new one, not an empty one."""
    kept: list[int] = []
    monkeypatch.setattr(os, "fsync", lambda number: kept.append(os.fstat(number).st_size))
    save_fitting(_fitting(), tmp_path / "reed.json")
    assert kept == [(tmp_path / "reed.json").stat().st_size]


def _write_in_place(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


@pytest.mark.parametrize("place", ["nowhere/reed.json", "a-file/reed.json", "a-folder", "x" * 300])
def test_a_place_that_cannot_be_written_is_told(tmp_path: Path, place: str) -> None:
    (tmp_path / "a-file").write_text("kept")
    (tmp_path / "a-folder" / "inside").mkdir(parents=True)
    with pytest.raises(
        InputError, match=r"cannot be written \(.+\) was given; a folder that exists, with write access"
    ):
        save_fitting(_fitting(), tmp_path / place)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["a-file", "a-folder"]
    assert (tmp_path / "a-file").read_text() == "kept"


def test_a_folder_without_write_access_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever runs this test may write anywhere: the refusal of the system is played."""

    def denied(*_arguments: object, **_options: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", denied)
    with pytest.raises(InputError, match=r"Permission denied.*write access"):
        save_fitting(_fitting(), tmp_path / "reed.json")


@pytest.mark.parametrize("place", ["reed.json", "", "reed.json/more"])
def test_a_fitting_that_is_not_there_is_told(tmp_path: Path, place: str) -> None:
    with pytest.raises(NotFoundError, match=r"no such fitting.*canebench plan TAKE --fitting"):
        load_fitting(tmp_path / place)


_SETTING = {"seat_mm": 0, "tape_mm": {}, "pinches": 0}
_NOTES = dict.fromkeys(NOTES, 480.0)


def _take(**change: object) -> dict[str, object]:
    return {"takes": [{"origin": "x", "setting": _SETTING, "hz": _NOTES, "sd_cents": _NOTES, **change}]}


#: What is changed, and what the sentence names.
REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "another schema": ({"schema": "another/1"}, "schema"),
    "no schema": ({"schema": None}, "schema"),
    "takes as an object": ({"takes": {}}, "takes"),
    "a list for a take": ({"takes": [[]]}, "take 1"),
    "an empty take": ({"takes": [{}]}, "take 1"),
    "too many takes": ({"takes": [{}] * 501}, "takes.*at most 500"),
    "a list for pitches": (_take(hz=[480.0] * 9), "take 1: hz"),
    "no pitch": (_take(hz={}), "no pitch at all"),
    "a pitch of nothing": (_take(hz={"E": 0}), "hz: E.*200 to 2000 Hz"),
    "a pitch that is true": (_take(hz={"E": True}), "hz: E.*a number"),
    "an endless pitch": (_take(hz={"E": math.inf}), "hz: E.*a number"),
    "a pitch that is no number": (_take(hz={"E": math.nan}), "hz: E.*a number"),
    "a huge whole number": (_take(hz={"E": 10**400}), "hz: E.*a number"),
    "an uncertainty below 0": (_take(sd_cents={"E": -1}), "sd_cents: E"),
    "no uncertainty of a pitch": (
        _take(hz={"E": 700}, sd_cents={}),
        "sd_cents: E: nothing was given; each pitch needs",
    ),
    "a number for an origin": (_take(origin=7), "origin.*a text"),
    "a book for an origin": (_take(origin="x" * 2000), "origin.*a text"),
    "a list for limits": ({"limits": []}, "limits.*JSON object"),
    "words for a limit": ({"limits": {"deeper_mm": "far"}}, "deeper_mm.*a number"),
    "null for a limit": ({"limits": {"deeper_mm": None}}, "deeper_mm.*a number"),
    "NaN for a limit": ({"limits": {"deeper_mm": math.nan}}, "deeper_mm.*a number"),
    "half a strip": ({"limits": {"most_strips": 2.5}}, "most_strips.*whole number"),
    "true pinches": ({"limits": {"pinches_left": True}}, "pinches_left.*a number"),
    "a limit of another kind": ({"limits": {"depth": 1}}, "depth"),
    "a list for hemp": ({"hemp": [1]}, "hemp.*JSON object"),
    "thick hemp": ({"hemp": {"thread_mm": 25}}, "thread_mm"),
    "an unheard scale": ({"scale": "unheard"}, "scale"),
    "a list for a scale": ({"scale": ["harmonic"]}, "scale.*a text"),
    "words for a pitch": ({"reference_hz": "high"}, "reference_hz"),
    "a drone for a pitch": ({"reference_hz": 239}, "reference.*tenor drone"),
    "a pitch below 0": ({"reference_hz": -480}, "reference"),
    "no text for a chanter": ({"chanter_toml": 7}, "chanter_toml"),
    "an empty chanter": ({"chanter_toml": ""}, "chanter.*schema"),
    "a chanter of lists": ({"chanter_toml": "x = " + "[" * 5000}, "chanter"),
    "a list for a setting": ({"planned": [[]]}, "planned 1.*JSON object"),
    "a seat too deep": ({"planned": [{**_SETTING, "seat_mm": 99}]}, "seat"),
    "a hole that is none": ({"planned": [{**_SETTING, "tape_mm": {"Q": 1}}]}, "hole.*Q"),
    "tape as a list": ({"planned": [{**_SETTING, "tape_mm": [1]}]}, "tape_mm.*JSON object"),
    "too much tape": ({"planned": [{**_SETTING, "tape_mm": {"E": 40}}]}, "tape on the E hole"),
    "half a pinch": ({"planned": [{**_SETTING, "pinches": 0.5}]}, "pinches.*whole number"),
    "no pinches": ({"planned": [{"seat_mm": 0, "tape_mm": {}}]}, "pinches"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_fitting_is_refused_by_name(tmp_path: Path, name: str) -> None:
    change, said = REFUSED[name]
    with pytest.raises(InputError, match=said) as raised:
        load_fitting(_saved(tmp_path, {**_object(), **change}))
    assert len(str(raised.value)) < 600


def test_what_is_left_alone_is_read(tmp_path: Path) -> None:
    """The control: the same file with a change that is none."""
    load_fitting(_saved(tmp_path, {**_object(), "remark": "fields may be added"}))
    load_fitting(_saved(tmp_path, {**_object(), **_take()}))


def test_an_origin_that_no_encoding_can_write_is_made_writable(tmp_path: Path) -> None:
    fitting = load_fitting(_saved(tmp_path, {**_object(), **_take(origin="a\ud800b")}))
    fitting.takes[0].origin.encode("utf-8")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[" * 100_000,
        b'{"schema":' * 50_000,
        b"\xff\xfe\x00",
        b"[]",
        b"NaN",
        b"7",
        b"null",
        b"9" * 10_000,
        b'"canebench.fitting/1"',
    ],
    ids=range(11),
)
def test_what_is_no_json_object_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "reed.json"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"reed\.json") as raised:
        load_fitting(path)
    assert len(str(raised.value)) < 400


def test_a_huge_file_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "reed.json"
    with path.open("wb") as file:
        file.truncate(2**40)

    def read(*_arguments: object, **_options: object) -> str:
        raise AssertionError("it was read")

    monkeypatch.setattr(Path, "read_text", read)
    with pytest.raises(InputError, match="bytes was given; at most 5000000 are read"):
        load_fitting(path)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "reed.json"
    path.write_text(json.dumps(_object()), encoding="utf-8-sig")
    load_fitting(path)


_ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from([10**400, -1, 0, 1, 9]),
    st.floats(),
    st.text(max_size=20),
    st.lists(st.none() | st.integers(), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers() | st.none(), max_size=3),
)


@st.composite
def _damaged(draw: st.DrawFn) -> dict[str, Any]:
    """A fitting in which one to three places, however deep, hold something else or nothing."""
    found = _object()
    for _ in range(draw(st.integers(1, 3))):
        place: Any = found
        while True:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = draw(st.sampled_from(keys))
            inside = place[key]
            if isinstance(inside, (dict, list)) and inside and draw(st.integers(0, 3)):
                place = inside
                continue
            if isinstance(place, dict) and draw(st.integers(0, 5)) == 0:
                del place[key]
            else:
                place[key] = draw(_ODD)
            break
    return found


def _reads_or_refuses(path: Path) -> bool:
    """Whether it was read; anything but a sentence of ours comes through."""
    try:
        fitting = load_fitting(path)
    except CanebenchError:
        return False
    # What was read can be written, as strict JSON.
    json.dumps(fitting_object(fitting), allow_nan=False)
    return True


@_FUZZ
@given(content=_damaged())
def test_damage_is_read_or_refused_and_nothing_else(tmp_path: Path, content: dict[str, Any]) -> None:
    _reads_or_refuses(_saved(tmp_path, content))


@_FUZZ
@given(data=st.data())
def test_damaged_text_is_read_or_refused_and_nothing_else(tmp_path: Path, data: st.DataObject) -> None:
    text = json.dumps(_object())
    pieces = ['"', "{", "[", "null", "-1e9", "1e400", "true", "[]", "{}", '"x"', "0.1", ",", ":", ""]
    at = data.draw(st.integers(0, len(text) - 1))
    cut = data.draw(st.integers(0, 12))
    path = tmp_path / "reed.json"
    path.write_text(text[:at] + data.draw(st.sampled_from(pieces)) + text[at + cut :], encoding="utf-8")
    _reads_or_refuses(path)


def test_a_reader_that_trusts_the_file_would_be_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control of the fuzz: without the look at what is an object, another error comes through."""
    path = _saved(tmp_path, {**_object(), "limits": 7})
    assert not _reads_or_refuses(path)
    monkeypatch.setattr(fitting_file, "_object", lambda _where, found: found)
    with pytest.raises((TypeError, AttributeError), match="int"):
        _reads_or_refuses(path)
