"""Plan a take, or measure what an act did: from files to a plan, with the fitting kept beside them.

Guarded by `tests/doors/test_plan_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, TypeVar

from canebench.base.errors import InputError
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.after_act import AfterAct, after_act
from canebench.bench.acts.fitting.fitting import Fitting, take_of
from canebench.bench.acts.fitting.fitting_file import load_fitting, save_fitting
from canebench.bench.acts.fitting.measure_take import measure_take
from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.bore.chanter_file import read
from canebench.fitting.hemp import Hemp
from canebench.fitting.limits import Limits, check_seat

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from canebench.base.scales import Scale
    from canebench.bench.acts.fitting.report import TakeReport

Kind = TypeVar("Kind", Limits, Hemp)

#: Stands for "all acts of the plan were done".
ALL = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanMade:
    """What was done since the last take: so many acts of the plan, or a setting told outright.

    `acts` is a number of planned acts or `ALL`; `seat_mm` and `pinches`, where given, replace what the plan
    says. `tape_mm` replaces it hole by hole: a strip stays on until 0 says that it is off, and no hole at all
    says that the chanter is bare.
    """

    acts: int = 1
    seat_mm: float | None = None
    tape_mm: Mapping[str, float] | None = None
    pinches: int | None = None

    def setting(self, present: Setting, planned: Sequence[Setting], *, deepest_mm: float) -> Setting:
        """The setting now, from the last one known and the ones planned after it.

        `deepest_mm` is where the chanter's seat has its bottom: a seat told beyond it is an error.
        """
        if self._told_whole or (not planned and self.acts in (ALL, 0, 1)):
            start = present
        elif self.acts == ALL:
            start = planned[-1]
        elif 0 <= self.acts <= len(planned):
            start = planned[self.acts - 1] if self.acts else present
        else:
            raise InputError(
                field="acts done",
                given=f"{self.acts}",
                allowed=f"the last plan has {len(planned)} acts",
                nearest="all",
            )
        found = Setting(
            seat_mm=start.seat_mm if self.seat_mm is None else self.seat_mm,
            tape_mm={**start.tape_mm, **self.tape_mm} if self.tape_mm else self._untold_tape(start),
            pinches=start.pinches if self.pinches is None else self.pinches,
        )
        if self.seat_mm is not None:
            check_seat(self.seat_mm, deepest_mm=deepest_mm)
        return found

    def _untold_tape(self, start: Setting) -> Mapping[str, float]:
        return start.tape_mm if self.tape_mm is None else {}

    def left(self, setting: Setting, planned: Sequence[Setting]) -> Sequence[Setting]:
        """The planned settings that are still to come in `setting`; none where it is off the plan."""
        acts = len(planned) if self.acts == ALL else self.acts
        if 0 < acts <= len(planned) and planned[acts - 1] == setting:
            # Counted, not looked for: two settings of a plan may be the same, in a fitting kept earlier.
            return planned[acts:]
        if acts == 0 and self.seat_mm is None and self.tape_mm is None and self.pinches is None:
            return planned
        return planned[planned.index(setting) + 1 :] if setting in planned else ()

    @property
    def _told_whole(self) -> bool:
        return self.seat_mm is not None and self.tape_mm is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWanted:
    """What the person asked for beyond the take; None leaves a fitting's own.

    `bounds` holds fields of `Limits` and of `Hemp` by name.
    """

    chanter_path: Path | None = None
    scale: Scale | None = None
    reference_hz: float | None = None
    follow_low_a: bool = False
    bounds: Mapping[str, float] = field(default_factory=dict)

    def on(self, fitting: Fitting) -> Fitting:
        """The fitting with what was asked for."""
        if self.chanter_path is not None:
            if fitting.takes:
                raise InputError(
                    field="chanter",
                    given=str(self.chanter_path),
                    allowed="a fitting keeps the chanter it was begun with",
                    nearest="begin another fitting file",
                )
            fitting = replace(fitting, chanter=read(self.chanter_path))
        if self.reference_hz is not None or self.follow_low_a:
            fitting = replace(fitting, reference_hz=self.reference_hz)
        return replace(
            fitting,
            scale=self.scale or fitting.scale,
            limits=_with(fitting.limits, self.bounds),
            hemp=_with(fitting.hemp, self.bounds),
        )


def plan_take(take: Path | None, *, fitting_path: Path | None, wanted: PlanWanted, done: PlanMade) -> Plan:
    """Plan from a take, or from a fitting's takes so far; the fitting file, if any, is brought up to date."""
    fitting, planned = _begin(fitting_path, needed=take is None)
    fitting = wanted.on(fitting)
    report = None
    if take is not None:
        setting = done.setting(fitting.present, planned, deepest_mm=fitting.deepest_mm)
        report = measure_take(take, scale=fitting.scale, reference=fitting.reference_hz or "auto")
        fitting = fitting.with_take(take_of(report.measurement, setting))
        # What is told now is told of now: after the pinch that this take follows, if there was one.
        fitting = replace(fitting, limits=_with(fitting.limits, wanted.bounds))
    plan = plan_setting(fitting.below_the_top(), report=report)
    if fitting_path is not None:
        save_fitting(fitting, fitting_path, planned=[step.setting for step in plan.steps])
    return plan


def measure_after(
    take: Path, *, fitting_path: Path, done: PlanMade, low_a_near_hz: float | None = None
) -> tuple[TakeReport, AfterAct | None]:
    """Measure a take after an act of the fitting's plan, and keep what it taught in the fitting file.

    A refused take teaches nothing and leaves the file as it was: the second is then None.
    """
    fitting, planned = _begin(fitting_path, needed=True)
    setting = done.setting(fitting.present, planned, deepest_mm=fitting.deepest_mm)
    report = measure_take(
        take, scale=fitting.scale, reference=fitting.reference_hz or "auto", low_a_near_hz=low_a_near_hz
    )
    if report.measurement.refused:
        return report, None
    after = after_act(fitting, take_of(report.measurement, setting))
    save_fitting(after.fitting, fitting_path, planned=done.left(setting, planned))
    return report, after


def chanter_of(path: Path | None) -> Fitting:
    """A fitting without takes, of a chanter file or the generic chanter."""
    return PlanWanted(chanter_path=path).on(Fitting())


def fitting_of(path: Path) -> Fitting:
    """The fitting in a file."""
    return load_fitting(path)[0]


def _with(record: Kind, bounds: Mapping[str, float]) -> Kind:
    """The record with those of the bounds that are its own."""
    own = {one.name for one in fields(record)}
    given: dict[str, Any] = {name: value for name, value in bounds.items() if name in own}
    return replace(record, **given)


def _begin(path: Path | None, *, needed: bool) -> tuple[Fitting, tuple[Setting, ...]]:
    if path is None:
        if needed:
            raise InputError(
                field="take", given="none", allowed="a take, or a fitting that has one, is needed"
            )
        return Fitting(), ()
    if needed or path.exists():
        return load_fitting(path)
    return Fitting(), ()
