"""A fitting's file as version 0.2.0 wrote it, after a plan and one act: such files lie on people's disks."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fit_request import FitRequest
from canebench.bench.acts.fitting.fitting_file import load_fitting
from canebench.bench.acts.fitting.one_round import plan_take
from canebench.bore.chanter_file import generic

if TYPE_CHECKING:
    from collections.abc import Callable

_KEPT = Path(__file__).parent / "fitting_1.json"


def test_it_is_read_whole() -> None:
    fitting = load_fitting(_KEPT)
    assert [one.take.setting for one in fitting.takes] == [Setting(), Setting(seat_mm=0.75)]
    assert fitting.takes[1].take.hz[NOTES.index("high A")] == 966.786471845
    assert (fitting.limits.deeper_mm, fitting.limits.pinches_left) == (1.5, 1)
    assert fitting.planned is not None
    assert [list(setting.tape_mm) for setting in fitting.planned] == [["B"], ["C", "B"], ["E", "C", "B"]]
    assert fitting.reference_hz is None
    assert fitting.chanter.chanter == generic().chanter


def test_it_is_planned_from_and_kept_on(tmp_path: Path) -> None:
    path = tmp_path / "reed.json"
    path.write_bytes(_KEPT.read_bytes())
    plan = plan_take(FitRequest(deeper_mm=1.0), fitting_path=path)
    again = load_fitting(path)
    assert len(again.takes) == 2
    assert again.limits.deeper_mm == 1.0
    assert again.planned == tuple(step.setting for step in plan.steps)


@pytest.mark.parametrize(
    "damage",
    [
        lambda found: {**found, "schema": "canebench.fitting/0"},
        lambda found: {**found, "takes": None},
        lambda found: {name: found[name] for name in found if name != "planned"},
    ],
)
def test_control_another_form_is_not_read(
    tmp_path: Path, damage: Callable[[dict[str, object]], dict[str, object]]
) -> None:
    path = tmp_path / "reed.json"
    path.write_text(json.dumps(damage(json.loads(_KEPT.read_text("utf-8")))), encoding="utf-8")
    with pytest.raises(InputError, match=r"schema|takes|planned"):
        load_fitting(path)
