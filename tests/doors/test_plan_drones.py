"""Drones last: a plan that leaves the reed alone moves them, where the take heard them off low A."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.one_round import plan_take
from canebench.fitting.acts import Act
from canebench.sound.files.encode import write_recording
from canebench.sound.synth import DronePlan, Recipe, render, scale_notes

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(("off_cents", "act"), [(-14.0, Act.MOVE_THE_DRONES), (0.0, Act.LEAVE)])
def test_drones_are_moved_once_the_reed_is_left_alone(off_cents: float, act: Act, tmp_path: Path) -> None:
    """A chanter in tune with itself; control: drones on low A leave nothing to do."""
    drones = DronePlan(bass_cents=off_cents, tenor_cents=(off_cents - 1.5, off_cents + 1.5))
    recipe = Recipe(low_a_hz=474.0, seed=4, notes=scale_notes(duration_s=1.5), drones=drones)
    write_recording(render(recipe)[0], tmp_path / "take.wav")
    plan = plan_take(FitRequest(heard=tmp_path / "take.wav"), fitting_path=None)
    assert plan.next_act.act is act
    assert not plan.steps
