"""Plans, and what each change does to a chanter, as written objects.

Guarded by `tests/doors/test_plan_wire.py` and `tests/frozen/test_wire_objects.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from msgspec import Meta

from canebench.bench.acts.fitting.fitting_file import fitting_object
from canebench.bench.views.wire.pieces import (
    ActWritten,
    Beam,
    CentsWritten,
    Json,
    NoteName,
    SettingWritten,
    Written,
    act_of,
    beam_of,
    plain,
    setting_of,
    told,
    uncertain_cents,
)
from canebench.fitting.rule_bounds import MOST_ACTS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bench.acts.fitting.plan_setting import Plan
    from canebench.bench.views.chanter_effects import Effect

PLAN_SCHEMA: Final = "canebench.plan/2"
EFFECTS_SCHEMA: Final = "canebench.chanter-effects/1"


class StepWritten(Written, frozen=True, kw_only=True):
    """One act, with the setting and the beam after it."""

    act: ActWritten
    setting: SettingWritten
    predicted: Beam


class PlanWritten(Written, frozen=True, kw_only=True, tag_field="schema", tag=PLAN_SCHEMA):
    """A plan of a setting.

    Printed by `canebench plan --json`. Absent values are null, never 0. Fields may be added under this
    name; none changes its meaning.
    """

    fitting: Annotated[dict[str, Any], told("What fitting.schema.json describes.")]
    now: Annotated[Beam, told("The newest take; a note that was not played in it as in `believed`.")]
    believed: Annotated[Beam, told("The present setting as all takes together have it.")]
    doubtful: Annotated[bool, told("The newest take hardly fits this reed in the setting told.")]
    steps: Annotated[
        tuple[StepWritten, ...],
        Meta(
            max_length=MOST_ACTS,
            description="Acts in working order, each with the setting and the beam after it; none where the "
            "setting shall stay.",
        ),
    ]
    next_act: Annotated[ActWritten, told("The one act to do next: that of the first step, or the verdict.")]
    setting: Annotated[SettingWritten, told("After all steps; the present one where there are none.")]
    verdict: Annotated[ActWritten | None, told("What to do instead of steps; null where there are steps.")]
    tolerance_cents: Annotated[dict[NoteName, float | None], told("What counts as in tune.")]


class EffectWritten(Written, frozen=True, kw_only=True):
    """What one change does, note by note."""

    change: str
    notes: dict[NoteName, CentsWritten]


class EffectsWritten(Written, frozen=True, kw_only=True, tag_field="schema", tag=EFFECTS_SCHEMA):
    """What each change does to each note of a chanter.

    Printed by `canebench chanter --json`. A note that a change does not reach is left out.
    """

    chanter: str
    source: str
    takes: Annotated[int, Meta(ge=0)]
    effects: tuple[EffectWritten, ...]


def plan_object(plan: Plan) -> Json:
    """A plan as plain JSON values."""
    found = PlanWritten(
        fitting=fitting_object(plan.fitting, planned=[step.setting for step in plan.steps]),
        now=beam_of(plan.now),
        believed=beam_of(plan.believed),
        doubtful=plan.doubtful,
        steps=tuple(
            StepWritten(act=act_of(step.act), setting=setting_of(step.setting), predicted=beam_of(step.beam))
            for step in plan.steps
        ),
        next_act=act_of(plan.next_act),
        setting=setting_of(plan.setting),
        verdict=None if plan.verdict is None else act_of(plan.verdict),
        tolerance_cents=dict(plan.tolerance_cents),
    )
    return plain(found)


def effects_object(fitting: Fitting, effects: Iterable[Effect]) -> Json:
    """What each change does to each note of a chanter, as plain JSON values."""
    found = EffectsWritten(
        chanter=fitting.chanter.chanter.name,
        source=fitting.chanter.source,
        takes=len(fitting.takes),
        effects=tuple(
            EffectWritten(
                change=effect.change,
                notes={note: uncertain_cents(value) for note, value in effect.cents.items()},
            )
            for effect in effects
        ),
    )
    return plain(found)
