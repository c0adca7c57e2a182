"""A rendered take lies beside its truth, and the truth is what was asked for."""

from __future__ import annotations

import json
from inspect import signature
from typing import TYPE_CHECKING

import pytest

from canebench.base.scales import DEFAULT_SCALE
from canebench.base.units import cents_to_hz
from canebench.cli.synth import command
from canebench.sound.files.decode import read_recording
from canebench.sound.synth import Recipe, scale_notes
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

SHORT = ("--low-a", "478", "--seed", "3", "--hold", "0.3")


def test_a_take_and_its_truth(tmp_path: Path) -> None:
    out = tmp_path / "try.wav"
    result = run("synth", str(out), *SHORT, "--off", "high-A=-9", "--off", "LowG=+4", "--drones", "0")
    assert result.exit_code == 0
    truth = json.loads((tmp_path / "try.json").read_text("utf-8"))
    assert truth["schema"] == "canebench.truth/1"
    heard = {row["note"]: row["hz"] for row in truth["notes"]}
    assert heard["low A"] == pytest.approx(478.0, abs=1e-3)
    assert heard["high A"] == pytest.approx(cents_to_hz(-9.0, 956.0), abs=1e-3)
    assert heard["low G"] == pytest.approx(cents_to_hz(4.0, 478.0 * 7 / 8), abs=1e-3)
    assert {row["drone"] for row in truth["drones"]} == {"bass", "tenor 1", "tenor 2"}
    assert read_recording(out).duration_s == pytest.approx(0.3 + 9 * 0.3, abs=0.01)
    assert str(out) in result.stdout


def test_the_same_seed_renders_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one.wav", "two.wav"):
        assert run("synth", str(tmp_path / name), *SHORT, "--snr", "30").exit_code == 0
    assert (tmp_path / "one.wav").read_bytes() == (tmp_path / "two.wav").read_bytes()
    assert (
        run("synth", str(tmp_path / "x.wav"), "--low-a", "478", "--seed", "4", "--hold", "0.3").exit_code == 0
    )
    assert (tmp_path / "one.wav").read_bytes() != (tmp_path / "x.wav").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["try.wav", "--seed", "1"], 2, "--low-a"),
        (["try.wav", *SHORT, "--off", "H=3"], 2, "is no note"),
        (["try.wav", *SHORT, "--off", "high A"], 2, "NOTE=CENTS"),
        (["try.wav", "--low-a", "4780", "--seed", "1"], 4, "from 350 to 600 Hz"),
        (["try.mp4x", *SHORT], 4, "ending"),
        (["try.json", *SHORT], 4, "sound file's ending"),
        (["try.wav", *SHORT, "--scale", "harmonik"], 4, "harmonic"),
        (["no/such/folder/try.wav", *SHORT], 4, "cannot be written"),
    ],
)
def test_refusals(
    arguments: list[str], code: int, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("synth", *arguments)
    assert result.exit_code == code
    assert said in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_defaults_are_the_library_s() -> None:
    defaults = command.make_context("synth", ["try.wav", "--low-a", "478", "--seed", "1"]).params
    recipe = signature(Recipe).parameters
    for name in ("wander_cents", "snr_db", "rt60_s", "graces"):
        assert defaults[name] == recipe[name].default
    assert defaults["hold_s"] == signature(scale_notes).parameters["duration_s"].default
    assert defaults["scale"] == DEFAULT_SCALE.name
