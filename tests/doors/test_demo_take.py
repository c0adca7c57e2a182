"""The bundled take is small, says that it is invented, and is what its recipe renders."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from canebench.bench.acts.fitting.measure_take import DEMO_FILE, measure_demo, measure_take
from canebench.bench.acts.upkeep.render_take import render_take, truth_object
from canebench.bench.views.wire.measurement import report_object
from canebench.fitting.acts import Act
from canebench.sound.files.decode import read_recording
from canebench.sound.synth import Recipe, render, scale_notes
from doors.run import run
from support.recipes import recipe_from

FOLDER = Path(str(files("canebench") / "demo"))
TAKE = FOLDER / DEMO_FILE


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(TAKE.with_suffix(".json").read_text("utf-8"))
    return loaded


def test_it_is_small_and_says_what_it_is(truth: dict[str, Any]) -> None:
    assert TAKE.stat().st_size <= 400_000
    assert truth["invented"] is True
    assert truth["scenario"].startswith("Invented")


def test_its_recipe_renders_it_again(truth: dict[str, Any]) -> None:
    recipe = recipe_from(truth["recipe"])
    rendered, true = render(recipe)
    again = json.loads(json.dumps(truth_object(recipe, true)))
    assert again["notes"] == [{**row, "hz": pytest.approx(row["hz"], abs=1e-3)} for row in truth["notes"]]
    bundled = read_recording(TAKE)
    assert bundled.duration_s == pytest.approx(rendered.duration_s, abs=0.05)
    assert np.std(bundled.samples) == pytest.approx(np.std(rendered.samples), rel=0.05)


def test_its_top_hand_is_flat(truth: dict[str, Any]) -> None:
    offset = {row["note"]: row["offset_cents"] for row in truth["recipe"]["notes"]}
    assert offset["high A"] - offset["low A"] < -10


def test_measuring_it_finds_what_was_rendered_and_says_seat_it_deeper(truth: dict[str, Any]) -> None:
    report = measure_demo()
    assert report.next_act.act is Act.SEAT_DEEPER
    planned = {row["note"]: row["offset_cents"] for row in truth["recipe"]["notes"]}
    assert [note.note for note in report.measurement.notes] == list(planned)
    for note in report.measurement.notes:
        assert abs(note.cents - planned[note.note]) <= 3 * report.repeat_sd_cents[note.note]
    assert report.balance is not None
    tilt = report.balance.tilt_cents
    assert tilt.sd is not None
    assert abs(tilt.value - (planned["high A"] - planned["low A"])) <= 3 * tilt.sd


def test_library_and_command_give_the_same_numbers(tmp_path: Path) -> None:
    take = tmp_path / "short.wav"
    notes = scale_notes("low A", "high A", duration_s=1.0)
    render_take(Recipe(low_a_hz=471.0, seed=5, notes=notes), take)
    typed = run("measure", str(take), "--json")
    assert json.loads(typed.stdout) == json.loads(json.dumps(report_object(measure_take(take))))
