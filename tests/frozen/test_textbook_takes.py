"""Recipes without a behaviour render what they always rendered; only to notice a change.

`textbook_takes.json` holds samples that were rendered before pipes had a behaviour. They are asked to within
a few steps of float32, since other processors round cosines otherwise.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from canebench.sound.synth import DronePlan, Recipe, behaviour_drawn, drones_as_tuned, render, scale_notes

_FROZEN = json.loads(Path(__file__).with_name("textbook_takes.json").read_text("utf-8"))
_CLOSE = 3e-6

RECIPES = {
    "plain": Recipe(low_a_hz=476.0, notes=scale_notes("low A", "E", "B"), seed=5_101, rate_hz=16_000.0),
    "everything": Recipe(
        low_a_hz=471.0,
        notes=scale_notes(duration_s=0.5, offsets_cents={"E": -7.0}),
        seed=4,
        rate_hz=16_000.0,
        snr_db=20.0,
        rt60_s=0.4,
        graces=True,
        wander_cents=3.0,
        drones=drones_as_tuned(-2.0),
    ),
    "pauses": Recipe(
        low_a_hz=433.0,
        notes=scale_notes("D", "F", duration_s=0.7),
        seed=9,
        rate_hz=44_100.0,
        pause_s=0.3,
        graces=True,
        drones=DronePlan(level_db=3.0, wander_cents=0.5, start_s=0.4),
        jitter=0.03,
    ),
}


def _kept(recipe: Recipe) -> dict[str, list[float]]:
    """Two hundred samples spread over the take, and the last phase of every source."""
    recording, truth = render(recipe)
    places = np.linspace(0, len(recording.samples) - 1, 200).astype(int)
    last = [truth.chanter_cycles[-1], *(cycles[-1] for cycles in truth.drone_cycles.values())]
    return {
        "samples": [float(value) for value in recording.samples[places]],
        "cycles": [float(value) for value in last],
    }


@pytest.mark.parametrize("name", list(RECIPES))
def test_a_textbook_take_is_what_it_was(name: str) -> None:
    kept = _kept(RECIPES[name])
    assert kept["samples"] == pytest.approx(_FROZEN[name]["samples"], abs=_CLOSE)
    assert kept["cycles"] == pytest.approx(_FROZEN[name]["cycles"], rel=1e-9)


@pytest.mark.parametrize(
    "change",
    [
        {"seed": 5},
        {"jitter": 0.0101},
        {"behaviour": behaviour_drawn(np.random.default_rng(1), degree="steady")},
    ],
    ids=["another seed", "a little more jitter", "a behaviour"],
)
def test_control_another_take_is_told_apart(change: dict[str, object]) -> None:
    kept = _kept(replace(RECIPES["everything"], **change))  # type: ignore[arg-type]
    assert kept["samples"] != pytest.approx(_FROZEN["everything"]["samples"], abs=_CLOSE)
