"""What the tool says next: the one place where worlds meet the tool.

The command's own defaults: the generic chanter, the harmonic scale on the chanter's own low A, the limits and
tolerances of `canebench plan`.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.plan_setting import plan_setting
from canebench.fitting.acts import Act
from canebench.fitting.take import Take

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.plan_setting import Plan, PlanStep

Kind = Literal["acts", "leave", "break-in", "set-aside", "ask"]

#: Acts that change nothing on reed and chanter.
_LOOKS: Final = frozenset(
    {Act.CHECK_E_AND_C, Act.PLAY_ALL_NINE, Act.PLAY_THE_OCTAVE, Act.MEASURE_AGAIN, Act.MOVE_THE_DRONES}
)
_RESTS: Final[dict[Act, Kind]] = {
    Act.LEAVE: "leave",
    Act.BREAK_IN: "break-in",
    Act.SET_ASIDE: "set-aside",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AdvisedAct:
    """One act that moves something: the setting told after it, and the cents and their sd (9,) predicted."""

    code: str
    setting: Setting
    cents: FloatArray
    sd_cents: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What is shown after a take. `acts` are in order; the first is the one to do now."""

    kind: Kind
    acts: tuple[AdvisedAct, ...]
    set_aside: bool
    milliseconds: float


def advice_after(fitting: Fitting) -> Advice:
    """Ask the tool, as the command does after a take."""
    started = time.process_time()
    try:
        plan = plan_setting(fitting)
    except InputError:
        return Advice(kind="ask", acts=(), set_aside=False, milliseconds=_since_ms(started))
    spent = _since_ms(started)
    acts = tuple(_advised(step) for step in plan.steps if step.act.act not in _LOOKS)
    verdict = Act.LEAVE if plan.verdict is None else plan.verdict.act
    kind: Kind = "acts" if acts else _RESTS.get(verdict, "ask")
    return Advice(kind=kind, acts=acts, set_aside=_gives_up(plan), milliseconds=spent)


def with_take(fitting: Fitting, setting: Setting, hz: FloatArray, sd_cents: FloatArray) -> Fitting:
    """The fitting with what was heard in the setting told."""
    return fitting.with_take(
        FittingTake(origin="a world outside", take=Take(setting=setting, hz=hz, sd_cents=sd_cents))
    )


def _gives_up(plan: Plan) -> bool:
    return plan.verdict is not None and plan.verdict.act is Act.SET_ASIDE


def _advised(step: PlanStep) -> AdvisedAct:
    return AdvisedAct(
        code=step.act.act.value,
        setting=step.setting,
        cents=np.array([step.beam[note].cents for note in NOTES]),
        sd_cents=np.array([step.beam[note].sd_cents for note in NOTES]),
    )


def _since_ms(started: float) -> float:
    return 1000 * (time.process_time() - started)
