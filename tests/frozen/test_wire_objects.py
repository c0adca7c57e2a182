"""Objects for JSON are letter for letter what they were before classes described them.

`wire_objects.json` was written when each object was put together by hand. Everything here is made by hand,
so that no measurement, model or processor has a say in it.
"""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf, nan
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest

from canebench.base.finding import Finding
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.base.uncertain import Uncertain
from canebench.bench.acts.fitting.after_act import AfterAct, Lesson
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.plan_setting import Plan, PlanStep
from canebench.bench.acts.fitting.report import report_on
from canebench.bench.views.chanter_effects import Effect
from canebench.bench.views.wire.after import after_object
from canebench.bench.views.wire.measurement import report_object
from canebench.bench.views.wire.plan import effects_object, plan_object
from canebench.fitting.acts import Act, NextAct
from canebench.fitting.balance import Deviation
from canebench.fitting.take import Take
from doors.made_takes import TOP_FLAT, made_measurement

if TYPE_CHECKING:
    from canebench.fitting.belief import Belief
    from canebench.sound.analysis.readings import Measurement

Json = dict[str, Any]

_FROZEN = json.loads(Path(__file__).with_name("wire_objects.json").read_text("utf-8"))

_BARE, _TAPED = Setting(), Setting(seat_mm=0.3333333333333, tape_mm={"E": 1.5, "high A": 2}, pinches=1)
_ACT = NextAct(
    act=Act.TAPE,
    say="Tape it.",
    why="E is sharp.",
    check="Blow.",
    stop="At once.",
    cautions=("Glue.", "Light."),
)
_BEAM = {
    "low A": Deviation(cents=0.123456789, sd_cents=inf, interval_cents=0.0),
    "E": Deviation(cents=cast("float", np.float64(-7)), sd_cents=0.5, interval_cents=702.0),
}
_FITTING = Fitting(
    takes=(
        FittingTake(
            origin="take.wav",
            take=Take(setting=_TAPED, hz=np.linspace(430.0, 950.0, 9), sd_cents=np.full(9, 1 / 3)),
        ),
    )
)
_PLAN = Plan(
    fitting=_FITTING,
    belief=cast("Belief", SimpleNamespace(doubtful=False)),
    now=_BEAM,
    believed=_BEAM,
    heard=frozenset(_BEAM),
    steps=(PlanStep(act=_ACT, setting=_TAPED, beam=_BEAM), PlanStep(act=_ACT, setting=_BARE, beam={})),
    verdict=None,
    tolerance_cents={note: 2.0 + i / 3 for i, note in enumerate(NOTES)},
)
_AFTER = AfterAct(
    fitting=_FITTING,
    setting=_TAPED,
    doubtful=True,
    predicted=_BEAM,
    actual={"E": _BEAM["E"]},
    missed=("E",),
    lessons=(
        Lesson(
            what="seat", before=Uncertain(value=-1 / 3, sd=None), after=Uncertain(value=nan, sd=0.0000004)
        ),
    ),
)
_EFFECTS = (
    Effect(
        change="1 mm deeper",
        cents={"low G": Uncertain(value=2.0, sd=0.25), "E": Uncertain(value=-0.0, sd=inf)},
    ),
    Effect(change="a pinch", cents={}),
)


def _vague() -> Measurement:
    measured = made_measurement(TOP_FLAT)
    vague = replace(measured.notes[4], hz=nan, sd_hz=inf, drift_cents_per_s=nan, level_db=-inf)
    return replace(measured, notes=(*measured.notes[:4], vague, *measured.notes[5:]))


def _report(measurement: Measurement) -> Json:
    """With the act made by hand: what the rules say is not asked here."""
    return report_object(replace(report_on(measurement), next_act=_ACT))


def _plan(**changed: Any) -> Json:
    """Without its fitting, which is written elsewhere."""
    found = plan_object(replace(_PLAN, **changed))
    return {name: value for name, value in found.items() if name != "fitting"}


def _written() -> dict[str, Json]:
    refused = (Finding(code="silence", text="No sound.", refuses=True),)
    return {
        "all nine": _report(made_measurement(TOP_FLAT, spread_cents=1.7)),
        "own low A, no high A": _report(made_measurement({"low A": 1.0, "E": 2.0}, kind="low-a")),
        "refused": _report(made_measurement({}, findings=refused)),
        "vague": _report(_vague()),
        "plan": _plan(),
        "verdict": _plan(steps=(), verdict=_ACT),
        "after": after_object(_AFTER),
        "effects": effects_object(_FITTING, _EFFECTS),
    }


def _text(value: object) -> str:
    return json.dumps(value, indent=2, allow_nan=False)


def test_each_is_written_as_it_was() -> None:
    assert _text(_written()) == _text(_FROZEN)


@pytest.mark.parametrize(
    "beam",
    [
        {"E": Deviation(cents=-7.0, sd_cents=0.500001, interval_cents=702.0), "low A": _BEAM["low A"]},
        {"E": _BEAM["E"], "low A": _BEAM["low A"]},
    ],
    ids=["a millionth of a cent", "another order"],
)
def test_control_another_plan_is_told_apart(beam: dict[str, Deviation]) -> None:
    assert _text(_plan(now=beam)) != _text(_FROZEN["plan"])
