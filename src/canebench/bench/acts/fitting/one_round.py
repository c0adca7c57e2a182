"""One round of a fitting: a take measured in its setting, and held against what was predicted of it.

Whether a file or the ledger keeps the fitting, and by whichever door the request comes, it goes through here.
Guarded by `tests/doors/test_one_fitting.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.notes import NOTES
from canebench.bench.acts.fitting.after_act import AfterAct, after_act
from canebench.bench.acts.fitting.fitting import Fitting, RefusedTakeError, take_of
from canebench.bench.acts.fitting.fitting_file import load_fitting, save_fitting
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.bench.acts.fitting.report import report_on
from canebench.bench.acts.fitting.type_take import typed_take
from canebench.fitting.balance import POSTS

if TYPE_CHECKING:
    from canebench.bench.acts.fitting.fit_request import FitRequest
    from canebench.bench.acts.fitting.report import TakeReport


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """One round.

    `report` is the take's (None where there was none), `refusal` says why it could not be measured: nothing
    of it is then kept. `after` is what the act before it did (None for a first take). `plan` is None where
    none was asked for, the take was refused, or it lacks low A or high A; `take_id` is the take's in the
    ledger that keeps it.
    """

    fitting: Fitting
    report: TakeReport | None = None
    refusal: RefusedTakeError | None = None
    after: AfterAct | None = None
    plan: Plan | None = None
    take_id: int | None = None


def one_round(fitting: Fitting, request: FitRequest) -> Fitted:
    """The fitting with what the request asks for, and with its take, if it has one."""
    fitting = request.on(fitting)
    if request.heard is None:
        return Fitted(fitting=fitting)
    planned = fitting.planned
    if planned is None:
        plan = planned_from(fitting)
        planned = () if plan is None else tuple(step.setting for step in plan.steps)
    setting = request.setting(fitting.present, planned, deepest_mm=fitting.deepest_mm)
    report = _report(fitting, request)
    try:
        take = take_of(report.measurement, setting, warm_min=request.warm_min, room_degc=request.room_degc)
    except RefusedTakeError as refusal:
        return Fitted(fitting=fitting, report=report, refusal=refusal)
    after = after_act(fitting, take) if fitting.takes else None
    # What is told now is told of now: after the pinch that this take follows, if there was one.
    fitting = request.bounding(fitting.with_take(take))
    fitting = replace(fitting, planned=tuple(request.left(setting, planned)))
    return Fitted(fitting=fitting, report=report, after=after)


def planned_from(fitting: Fitting, report: TakeReport | None = None) -> Plan | None:
    """The plan from a fitting's last take; None where there is none, or it lacks low A or high A."""
    if not fitting.takes:
        return None
    posts = fitting.takes[-1].take.hz[[NOTES.index(note) for note in POSTS]]
    return plan_within_bounds(fitting, report) if np.isfinite(posts).all() else None


def plan_within_bounds(fitting: Fitting, report: TakeReport | None = None) -> Plan:
    """The plan from a fitting's last take, within what its seat and its reed bear; its own limits stay."""
    plan = plan_setting(fitting.within_a_life(), report=report)
    return replace(plan, fitting=replace(plan.fitting, limits=fitting.limits))


def plan_take(request: FitRequest, *, fitting_path: Path | None) -> Plan:
    """Plan from a take, or from a fitting's takes so far; its file, if any, is brought up to date."""
    new = fitting_path is None or (request.heard is not None and not fitting_path.exists())
    one = one_round(Fitting() if new or fitting_path is None else load_fitting(fitting_path), request)
    if one.refusal is not None:
        raise one.refusal
    plan = plan_within_bounds(one.fitting, one.report)
    if fitting_path is not None:
        save_fitting(plan.fitting, fitting_path)
    return plan


def measure_after(request: FitRequest, *, fitting_path: Path) -> Fitted:
    """Measure a take after an act of the fitting's plan, and keep what it taught in the fitting's file.

    A refused take teaches nothing and leaves the file as it was.
    """
    one = one_round(load_fitting(fitting_path), request)
    if one.refusal is None:
        save_fitting(one.fitting, fitting_path)
    return one


def _report(fitting: Fitting, request: FitRequest) -> TakeReport:
    heard, fixed_hz = request.heard, fitting.reference_hz
    if isinstance(heard, Path):
        near_hz = request.low_a_near_hz
        return measure_take(heard, scale=fitting.scale, reference=fixed_hz or "auto", low_a_near_hz=near_hz)
    return report_on(typed_take(heard or {}, scale=fitting.scale, reference_hz=fixed_hz))
