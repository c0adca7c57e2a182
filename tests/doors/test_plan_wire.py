"""Plans, fittings and what came of an act in writing: as their schemas say, and as the library has it."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from msgspec import ValidationError, convert, to_builtins

from canebench.base.setting import Setting
from canebench.bench.acts.fitting.after_act import AfterAct, after_act
from canebench.bench.acts.fitting.fitting import take_of
from canebench.bench.acts.fitting.fitting_file import fitting_object, load_fitting, save_fitting
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.bench.acts.fitting.plan_take import PlanMade, PlanWanted, measure_after, plan_take
from canebench.bench.views.chanter_effects import chanter_effects
from canebench.bench.views.wire.after import AfterWritten, after_object
from canebench.bench.views.wire.plan import EffectsWritten, PlanWritten, effects_object, plan_object
from canebench.fitting.acts import Act
from canebench.fitting.limits import Limits
from canebench.fitting.rule_bounds import MOST_ACTS
from doors.bench_takes import DOCS, Json, SoundBench, given, misfits

_DEEPER = Setting(seat_mm=0.75)
_NAMES = ("plan", "after-act", "fitting", "chanter-effects")
_CLASSES = {"plan": PlanWritten, "after-act": AfterWritten, "chanter-effects": EffectsWritten}


def _strict(value: object) -> Any:
    """As another program reads it: strict JSON, no NaN."""
    return json.loads(json.dumps(value, allow_nan=False))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    reed = SoundBench(tmp_path_factory.mktemp("plan"))
    return plan_take(Path(reed.take), fitting_path=None, wanted=PlanWanted(), done=PlanMade())


@pytest.fixture(scope="module")
def after(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> AfterAct:
    reed = SoundBench(tmp_path_factory.mktemp("after"))
    reed.play(_DEEPER)
    return after_act(plan.fitting, take_of(measure_take(Path(reed.take)).measurement, _DEEPER))


@pytest.fixture(scope="module")
def written(plan: Plan, after: AfterAct) -> dict[str, Json]:
    """One of each, by the name of its schema."""
    return {
        "plan": _strict(plan_object(plan)),
        "after-act": _strict(after_object(after)),
        "fitting": _strict(fitting_object(after.fitting, planned=[_DEEPER])),
        "chanter-effects": _strict(effects_object(plan.fitting, chanter_effects(plan.fitting))),
    }


@pytest.mark.parametrize("name", _NAMES)
def test_each_fits_its_schema(name: str, written: dict[str, Json]) -> None:
    assert misfits(written[name], name) == []
    schema = json.loads((DOCS / f"{name}.schema.json").read_text("utf-8"))
    assert written[name]["schema"] == schema["$id"]
    # Each field that is written is described.
    assert set(written[name]) == set(schema["properties"]) == set(schema["required"])


@pytest.mark.parametrize("name", _CLASSES)
def test_each_is_read_back_as_it_was_written(name: str, written: dict[str, Json]) -> None:
    assert _strict(to_builtins(convert(written[name], _CLASSES[name]))) == written[name]


#: Which schema, where, and what is put there (`...` takes it away).
WRONG: list[tuple[str, tuple[str | int, ...], object]] = [
    ("plan", ("schema",), "canebench.plan/1"),
    ("plan", ("doubtful",), 0),
    ("plan", ("now", "low A"), 1.0),
    ("plan", ("now", "H"), {"cents": 0.0, "sd_cents": 0.0}),
    ("plan", ("steps", 0, "act", "stop"), ...),
    ("plan", ("steps", 0, "act", "act"), "blow-harder"),
    ("plan", ("steps", 0, "setting", "tape_mm"), {"low G": 1.0}),
    ("plan", ("steps", 0, "predicted", "E", "sd_cents"), -1.0),
    ("plan", ("believed",), ...),
    ("plan", ("believed", "E", "cents"), "flat"),
    ("plan", ("next_act",), None),
    ("plan", ("next_act", "act"), "blow-harder"),
    ("plan", ("setting", "seat_mm"), None),
    ("plan", ("setting",), {"seat_mm": 0.0, "tape_mm": {"low G": 1.0}, "pinches": 0}),
    ("plan", ("steps",), [{}]),
    ("plan", ("verdict",), "set it aside"),
    ("plan", ("tolerance_cents", "H"), 1.0),
    ("plan", ("tolerance_cents",), ...),
    ("after-act", ("schema",), "canebench.plan/1"),
    ("after-act", ("missed",), ["H"]),
    ("after-act", ("learnt", 0, "before"), ...),
    ("after-act", ("learnt", 0, "after", "cents"), "more"),
    ("after-act", ("setting", "pinches"), -1),
    ("fitting", ("takes", 0, "hz", "H"), 480.0),
    ("fitting", ("takes", 0, "setting"), ...),
    ("fitting", ("limits", "deeper_mm"), -1),
    ("fitting", ("limits",), ...),
    ("fitting", ("reference_hz",), 0),
    ("fitting", ("planned", 0, "seat_mm"), None),
    ("chanter-effects", ("effects", 0, "change"), 1),
    ("chanter-effects", ("effects", 0, "notes", "H"), {"cents": 1.0, "sd_cents": 1.0}),
    ("chanter-effects", ("takes",), -1),
]


@pytest.mark.parametrize(("name", "path", "value"), WRONG)
def test_control_a_wrong_value_does_not_fit(
    name: str, path: tuple[str | int, ...], value: object, written: dict[str, Json]
) -> None:
    found = copy.deepcopy(written[name])
    place: Any = found
    for step in path[:-1]:
        place = place[step]
    if value is ...:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    assert misfits(found, name) != []
    if name in _CLASSES:
        with pytest.raises(ValidationError, match=r"Expected|Invalid|missing"):
            convert(found, _CLASSES[name])


def test_every_act_that_there_is_fits(written: dict[str, Json]) -> None:
    for act in Act:
        found = copy.deepcopy(written["plan"])
        found["steps"][0]["act"]["act"] = act.value
        assert misfits(found, "plan") == []


def test_no_more_acts_than_anybody_follows_fit(written: dict[str, Json]) -> None:
    found = copy.deepcopy(written["plan"])
    step = found["steps"][0]
    found["steps"] = [step] * MOST_ACTS
    assert misfits(found, "plan") == []
    found["steps"] = [step] * (MOST_ACTS + 1)
    assert misfits(found, "plan") != []


def test_a_plan_without_steps_has_a_verdict_instead(plan: Plan) -> None:
    """Where there is no room to move, nothing is to be done but what is said."""
    still = replace(plan.fitting, limits=Limits(deeper_mm=0.0, higher_mm=0.0, most_strips=0))
    found = _strict(plan_object(plan_setting(still)))
    assert misfits(found, "plan") == []
    assert found["steps"] == []
    assert found["verdict"] == found["next_act"] is not None
    assert found["setting"] == _strict(plan_object(plan))["fitting"]["takes"][0]["setting"]


def test_a_measurement_may_hold_what_an_act_did(written: dict[str, Json], tmp_path: Path) -> None:
    reed = SoundBench(tmp_path)
    told = given("measure", reed.take)
    assert "after_act" not in told
    assert misfits(told, "measurement") == []
    assert misfits({**told, "after_act": written["after-act"]}, "measurement") == []
    assert misfits({**told, "after_act": "it did"}, "measurement") != []


def test_the_fitting_in_a_plan_is_one(written: dict[str, Json]) -> None:
    assert misfits(written["plan"]["fitting"], "fitting") == []


def test_library_and_command_give_the_same_plan(plan: Plan, tmp_path: Path) -> None:
    reed = SoundBench(tmp_path)
    assert given("plan", reed.take, "--fitting", reed.fitting) == _strict(plan_object(plan))
    # And from the file that was kept.
    fitting, _ = load_fitting(Path(reed.fitting))
    again = _strict(plan_object(plan_setting(fitting)))
    assert again["setting"] == plan_object(plan)["setting"]
    assert len(again["steps"]) == len(plan.steps)
    for written_step, step in zip(again["steps"], plan.steps, strict=True):
        assert written_step["act"]["say"] == step.act.say
        for note, one in written_step["predicted"].items():
            assert one["cents"] == pytest.approx(step.beam[note].cents, abs=1e-4)
            assert one["sd_cents"] == pytest.approx(step.beam[note].sd_cents, abs=1e-4)


def test_library_and_command_say_the_same_of_an_act(plan: Plan, tmp_path: Path) -> None:
    reed = SoundBench(tmp_path)
    reed.play(_DEEPER)
    paths = [tmp_path / name for name in ("library.json", "command.json")]
    for path in paths:
        save_fitting(plan.fitting, path, planned=[_DEEPER])
    _report, by_library = measure_after(Path(reed.take), fitting_path=paths[0], done=PlanMade())
    by_command = given("measure", reed.take, "--fitting", str(paths[1]))["after_act"]
    assert by_library is not None
    assert by_command == _strict(after_object(by_library))
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_another_take_would_not_give_the_same_plan(plan: Plan, tmp_path: Path) -> None:
    """The control."""
    reed = SoundBench(tmp_path)
    reed.play(Setting(seat_mm=0.25))
    other, ours = given("plan", reed.take), _strict(plan_object(plan))
    assert other["setting"] != ours["setting"]
    assert other["believed"]["high A"]["cents"] != pytest.approx(ours["believed"]["high A"]["cents"], abs=1)


def test_what_was_not_played_is_null_and_never_zero(written: dict[str, Json]) -> None:
    take = copy.deepcopy(written["fitting"])
    take["takes"][0]["hz"]["C"] = take["takes"][0]["sd_cents"]["C"] = None
    assert misfits(take, "fitting") == []
    assert all(value != 0 for value in written["fitting"]["takes"][0]["hz"].values())
