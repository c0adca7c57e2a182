"""Fitting files: written whole or not at all, and refused in words when they are no fittings."""

from __future__ import annotations

import json
import random
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from canebench.base.errors import CanebenchError, InputError, NotFoundError
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bench.fitting import Fitting, FittingTake
from canebench.bench.fitting_file import fitting_object, load_fitting, save_fitting
from canebench.bore.calibrate import Take

if TYPE_CHECKING:
    from pathlib import Path

_PLANNED = (Setting(seat_mm=0.25), Setting(seat_mm=0.25, tape_mm={"E": 1.2}))


def _fitting() -> Fitting:
    hz = np.linspace(420.0, 960.0, len(NOTES))
    hz[3] = np.nan
    sd = np.where(np.isnan(hz), np.inf, 0.5)
    take = Take(setting=Setting(tape_mm={"low A": 1.0}), hz=hz, sd_cents=sd)
    return Fitting(takes=(FittingTake(origin="take.wav", take=take),), reference_hz=480.0)


def test_a_fitting_comes_back_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "reed.json"
    save_fitting(_fitting(), path, planned=_PLANNED)
    found, planned = load_fitting(path)
    assert planned == _PLANNED
    assert fitting_object(found, planned=planned) == fitting_object(_fitting(), planned=_PLANNED)
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("step", ["os.fsync", "pathlib.Path.replace"])
def test_a_failure_while_writing_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "reed.json"
    save_fitting(_fitting(), path, planned=())
    before = path.read_bytes()

    def fails(*_arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(step, fails)
    with pytest.raises(InputError, match="No space left"):
        save_fitting(_fitting(), path, planned=_PLANNED)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_place_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        save_fitting(_fitting(), tmp_path / "nowhere" / "reed.json", planned=())
    with pytest.raises(NotFoundError, match="no such fitting"):
        load_fitting(tmp_path / "reed.json")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"schema": "another/1"}, "schema"),
        ({"takes": {}}, "takes"),
        ({"takes": [{}]}, "take 1"),
        ({"limits": {"deeper_mm": "far"}}, "deeper_mm"),
        ({"limits": {"depth": 1}}, "depth"),
        ({"scale": "unheard"}, "scale"),
        ({"reference_hz": "high"}, "reference_hz"),
        ({"chanter_toml": 7}, "chanter_toml"),
        ({"planned": [{"seat_mm": 99, "tape_mm": {}, "pinches": 0}]}, "seat"),
        ({"planned": [{"seat_mm": 0, "tape_mm": {"Q": 1}, "pinches": 0}]}, "hole"),
    ],
)
def test_what_is_no_fitting_is_refused_by_name(tmp_path: Path, change: dict[str, Any], said: str) -> None:
    path = tmp_path / "reed.json"
    path.write_text(json.dumps({**fitting_object(_fitting(), planned=()), **change}), encoding="utf-8")
    with pytest.raises(CanebenchError, match=said):
        load_fitting(path)


@pytest.mark.parametrize("content", [b"", b"{", b"[" * 100_000, b"\xff\xfe\x00", b"[]", b"NaN", b"7"])
def test_what_is_no_json_object_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "reed.json"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"reed\.json"):
        load_fitting(path)


def _mutants(text: str) -> list[str]:
    chance = random.Random(4)  # noqa: S311 - reproducible damage, not secrets
    pieces = ['"', "{", "[", "null", "-1e9", "1e400", "true", "[]", "{}", '"x"', "0.1", ",", ":"]
    found = []
    for _ in range(300):
        at = chance.randrange(len(text))
        found.append(text[:at] + chance.choice(pieces) + text[at + chance.randrange(12) :])
    return found


def test_damage_is_read_or_refused_and_nothing_else(tmp_path: Path) -> None:
    text = json.dumps(fitting_object(_fitting(), planned=_PLANNED))
    path = tmp_path / "reed.json"
    refused = 0
    for mutant in _mutants(text):
        path.write_text(mutant, encoding="utf-8")
        try:
            load_fitting(path)
        except CanebenchError:
            refused += 1
    assert refused > 100
    with pytest.raises(KeyError):
        # The control: a reader that trusts the file would have stumbled over it.
        json.loads("{}")["schema"]
