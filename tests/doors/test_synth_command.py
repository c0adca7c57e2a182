"""A rendered take lies beside its truth, and the truth is what was asked for."""

from __future__ import annotations

import json
from inspect import signature
from typing import TYPE_CHECKING

import pytest

from canebench.base.scales import DEFAULT_SCALE
from canebench.base.units import cents_to_hz, hz_to_cents
from canebench.bench.acts.upkeep.render_take import truth_object
from canebench.cli.takes.synth import BLOWINGS, TEXTBOOK, TUNES, command
from canebench.sound import synth
from canebench.sound.files.decode import read_recording
from canebench.sound.synth import Recipe, render, scale_notes
from doors.run import run
from support.recipes import recipe_from

if TYPE_CHECKING:
    from pathlib import Path

SHORT = ("--low-a", "478", "--seed", "3", "--hold", "0.3")
STEADY = ("--blowing", "textbook")


def test_a_textbook_take_and_its_truth(tmp_path: Path) -> None:
    out = tmp_path / "try.wav"
    offsets = ("--off", "high-A=-9", "--off", "LowG=+4")
    result = run("synth", str(out), *SHORT, *STEADY, *offsets, "--drones", "0")
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


def test_by_default_pipes_waver_about_what_was_asked(tmp_path: Path) -> None:
    """No note is where a textbook's would be, all are near, and a better day is nearer."""
    off = {}
    for blowing in ("textbook", "steady", "usual"):
        out = tmp_path / f"{blowing}.wav"
        chosen = () if blowing == "usual" else ("--blowing", blowing)
        assert run("synth", str(out), *SHORT, *chosen, "--drones", "0").exit_code == 0
        rows = json.loads(out.with_suffix(".json").read_text("utf-8"))["notes"]
        ratios = DEFAULT_SCALE.ratios
        off[blowing] = [abs(hz_to_cents(row["hz"], 478.0 * ratios[row["note"]])) for row in rows]
    assert max(off["textbook"]) < 1e-3
    assert 0.1 < sum(off["usual"]) / 9 < 8.0
    assert 0.0 < sum(off["steady"]) < sum(off["usual"])


def test_the_truth_renders_the_take_again(tmp_path: Path) -> None:
    """From the JSON alone: the same notes and the same samples, whole or not."""
    out = tmp_path / "whole.wav"
    assert run("synth", str(out), *SHORT, "--drones", "-3", "--snr", "30", "--whole").exit_code == 0
    written = json.loads(out.with_suffix(".json").read_text("utf-8"))
    assert written["recipe"]["behaviour"]["strikes_in"] is True
    recipe = recipe_from(written["recipe"])
    recording, truth = render(recipe)
    assert json.loads(json.dumps(truth_object(recipe, truth))) == written
    heard = read_recording(out)
    assert heard.samples == pytest.approx(recording.samples, abs=1e-4)
    # Two seconds for the drones to settle in front, half a second for the bag to empty behind.
    assert heard.duration_s == pytest.approx(2.0 + 9 * 0.3 + 0.5, abs=0.01)
    drones = {row["drone"]: row["hz"] for row in written["drones"]}
    assert hz_to_cents(drones["bass"], 478.0 / 4) == pytest.approx(0.0, abs=6.0)


def test_a_truth_from_before_pipes_had_a_behaviour_is_read(tmp_path: Path) -> None:
    out = tmp_path / "old.wav"
    assert run("synth", str(out), *SHORT, *STEADY).exit_code == 0
    written = json.loads(out.with_suffix(".json").read_text("utf-8"))["recipe"]
    assert written.pop("behaviour") is None
    assert render(recipe_from(written))[0].samples == pytest.approx(read_recording(out).samples, abs=1e-4)


@pytest.mark.parametrize(("kind", "about_s"), [("march", 60.0), ("air", 90.0)])
def test_a_tune_repeats_its_notes_at_their_own_offsets(kind: str, about_s: float, tmp_path: Path) -> None:
    out = tmp_path / "tune.flac"
    typed = ("--low-a", "478", "--seed", "3", *STEADY, "--tune", kind, "--off", "B=7")
    assert run("synth", str(out), *typed).exit_code == 0
    written = json.loads(out.with_suffix(".json").read_text("utf-8"))
    bs = [row["hz"] for row in written["notes"] if row["note"] == "B"]
    assert len(bs) >= 3
    assert bs == pytest.approx([cents_to_hz(7.0, 478.0 * DEFAULT_SCALE.ratios["B"])] * len(bs), abs=1e-2)
    assert any(event["grace"] for event in written["events"])
    assert written["events"][-1]["end_s"] == pytest.approx(about_s, rel=0.2)


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
        (["try.wav", *SHORT, "--blowing", "drunk"], 2, "steady"),
        (["try.wav", *SHORT, "--tune", "jig"], 2, "march"),
        (["try.wav", *SHORT, *STEADY, "--whole"], 4, "behaviour of pipes"),
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
    assert defaults["blowing"] == synth.USUAL


def test_words_of_the_command_are_the_library_s() -> None:
    assert (TEXTBOOK, *synth.DEGREES) == BLOWINGS
    assert TUNES == synth.TUNES
