"""`canebench measure`: what it is asked reaches the library, what the library says reaches the reader."""

from __future__ import annotations

import json
from inspect import signature
from typing import TYPE_CHECKING, Any

import pytest

from canebench.base.finding import Finding
from canebench.base.scales import DEFAULT_SCALE
from canebench.bench.acts.fitting import measure_take as bench
from canebench.cli.takes.measure import command
from canebench.sound.analysis.measure import measure
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import Recipe, render, scale_notes
from doors.made_takes import TOP_FLAT, made_measurement
from doors.run import run

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.sound.analysis.readings import Measurement


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> dict[str, Any]:
    """Puts a measurement made by hand behind the command and keeps what the command asked for."""
    heard: dict[str, Any] = {"answer": made_measurement(TOP_FLAT), "take": tmp_path / "take.wav"}

    def answer(recording: object, **options: object) -> Measurement:
        heard.update(options, recording=recording)
        given: Measurement = heard["answer"]
        return given

    monkeypatch.setattr(bench, "measure", answer)
    recording, _ = render(Recipe(low_a_hz=478, seed=1, notes=scale_notes("low A", duration_s=0.2)))
    write_recording(recording, heard["take"])
    return heard


def test_the_page_goes_to_stdout_and_the_talk_to_stderr(asked: dict[str, Any], tmp_path: Path) -> None:
    picture = tmp_path / "beam.svg"
    result = run("measure", str(asked["take"]), "--svg", str(picture), "--title", "Reed <12>")
    assert result.exit_code == 0
    assert result.stdout.startswith("Reed <12>\n")
    assert "Seat the reed deeper" in result.stdout
    assert str(picture) in result.stderr
    assert str(picture) not in result.stdout
    assert "Reed &lt;12&gt;" in picture.read_text("utf-8")


def test_json_is_one_object_and_nothing_else(asked: dict[str, Any]) -> None:
    result = run("measure", str(asked["take"]), "--json")
    assert result.exit_code == 0
    assert result.stderr == ""
    assert json.loads(result.stdout)["schema"] == "canebench.measurement/1"


@pytest.mark.parametrize(
    ("option", "name", "value"),
    [
        (("--reference", "drones"), "reference", "drones"),
        (("--reference", "low-a"), "reference", "low-a"),
        (("--reference", "480"), "reference", 480.0),
        (("--reference", "480.5Hz"), "reference", 480.5),
        (("--low-a-near", "440"), "low_a_near_hz", 440.0),
        ((), "reference", "auto"),
        ((), "low_a_near_hz", None),
    ],
)
def test_options_reach_the_library(
    option: tuple[str, ...], name: str, value: object, asked: dict[str, Any]
) -> None:
    assert run("measure", str(asked["take"]), *option).exit_code == 0
    assert asked[name] == value


def test_the_scale_reaches_the_library(asked: dict[str, Any]) -> None:
    assert run("measure", str(asked["take"]), "--scale", "college-1991").exit_code == 0
    assert asked["scale"].name == "college-1991"


def test_a_refused_measurement_is_still_shown(asked: dict[str, Any]) -> None:
    finding = Finding(code="no-chanter", text="No chanter was heard.", refuses=True)
    asked["answer"] = made_measurement({}, findings=(finding,))
    page = run("measure", str(asked["take"]))
    assert page.exit_code == 6
    assert "No chanter was heard." in page.stdout
    written = run("measure", str(asked["take"]), "--json")
    assert written.exit_code == 6
    assert json.loads(written.stdout)["refused"] is True


@pytest.mark.parametrize(
    ("arguments", "code", "error"),
    [
        (("no-such.wav",), 5, "not-found"),
        ((".",), 4, "input"),
        (("--demo", "--scale", "harmonik"), 4, "unknown-name"),
        (("--demo", "--reference", "-480"), 2, "usage"),
        (("--demo", "--reference", "nan"), 2, "usage"),
    ],
)
def test_failures_have_a_code_and_a_sentence(arguments: tuple[str, ...], code: int, error: str) -> None:
    result = run("measure", *arguments, "--json")
    assert result.exit_code == code
    assert result.stdout == ""
    said = json.loads(result.stderr)["error"]
    assert said["code"] == error
    assert said["message"]


def test_a_picture_that_cannot_be_written(asked: dict[str, Any], tmp_path: Path) -> None:
    result = run("measure", str(asked["take"]), "--svg", str(tmp_path / "no" / "beam.svg"))
    assert result.exit_code == 4
    assert "cannot be written" in result.stderr
    assert "Seat the reed deeper" in result.stdout


def test_defaults_of_command_bench_and_room_are_one() -> None:
    typed = command.make_context("measure", ["--demo"]).params
    for function in (bench.measure_take, bench.measure_demo, measure):
        parameters = signature(function).parameters
        assert typed["reference"] == parameters["reference"].default
        assert typed["low_a_near_hz"] == parameters["low_a_near_hz"].default
        assert parameters["scale"].default is DEFAULT_SCALE
    assert typed["scale"] == DEFAULT_SCALE.name
