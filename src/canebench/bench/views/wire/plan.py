"""Plans and what came of them as JSON objects: the single place where they get their written form.

The schemas are `docs/plan.schema.json` and `docs/after-act.schema.json`. Guarded by
`tests/doors/test_plan_command.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from canebench.bench.acts.fitting.fitting_file import fitting_object, setting_object
from canebench.bench.views.wire.measurement import act_object, figure

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from canebench.base.uncertain import Uncertain
    from canebench.bench.acts.fitting.after_act import AfterAct
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.bench.views.chanter_effects import Effect
    from canebench.fitting.balance import Deviation

PLAN_SCHEMA: Final = "canebench.plan/2"
AFTER_SCHEMA: Final = "canebench.after-act/1"
EFFECTS_SCHEMA: Final = "canebench.chanter-effects/1"

Json = dict[str, Any]


def plan_object(plan: Plan) -> Json:
    """A plan as plain JSON values."""
    return {
        "schema": PLAN_SCHEMA,
        "fitting": fitting_object(plan.fitting),
        "now": _beam(plan.now),
        "believed": _beam(plan.believed),
        "doubtful": plan.doubtful,
        "steps": [
            {
                "act": act_object(step.act),
                "setting": setting_object(step.setting),
                "predicted": _beam(step.beam),
            }
            for step in plan.steps
        ],
        "next_act": act_object(plan.next_act),
        "setting": setting_object(plan.setting),
        "verdict": None if plan.verdict is None else act_object(plan.verdict),
        "tolerance_cents": dict(plan.tolerance_cents),
    }


def after_object(after: AfterAct) -> Json:
    """What was predicted, what came of it, and what it taught."""
    return {
        "schema": AFTER_SCHEMA,
        "setting": setting_object(after.setting),
        "predicted": _beam(after.predicted),
        "actual": _beam(after.actual),
        "missed": list(after.missed),
        "doubtful": after.doubtful,
        "learnt": [
            {"what": lesson.what, "before": _uncertain(lesson.before), "after": _uncertain(lesson.after)}
            for lesson in after.lessons
        ],
    }


def effects_object(fitting: Fitting, effects: Iterable[Effect]) -> Json:
    """What each change does to each note of a chanter; a note it does not reach is left out."""
    return {
        "schema": EFFECTS_SCHEMA,
        "chanter": fitting.chanter.chanter.name,
        "source": fitting.chanter.source,
        "takes": len(fitting.takes),
        "effects": [
            {"change": e.change, "notes": {note: _uncertain(value) for note, value in e.cents.items()}}
            for e in effects
        ],
    }


def _beam(beam: Mapping[str, Deviation]) -> Json:
    return {note: {"cents": figure(d.cents), "sd_cents": figure(d.sd_cents)} for note, d in beam.items()}


def _uncertain(value: Uncertain) -> Json:
    return {"cents": figure(value.value), "sd_cents": figure(value.sd)}
