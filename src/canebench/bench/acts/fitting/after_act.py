"""After an act: what was predicted beside what was measured, and what that taught.

Guarded by `tests/doors/test_plan_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.uncertain import Uncertain
from canebench.bench.acts.fitting.model_response import beam_of, deviations_cents, per_mm_of_seat
from canebench.fitting.balance import Deviation

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
    from canebench.bore.calibrate import Knowledge

#: A hole's tape is told of by what this much of it does, mm.
_STRIP_MM: Final = 1.5
_LOW_A: Final = NOTES.index(LOW_A)
#: Beyond this many standard uncertainties a prediction was not borne out.
_BORNE_OUT: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """One thing that the take taught: a slope before and after it, in cents."""

    what: str
    before: Uncertain
    after: Uncertain


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterAct:
    """One act looked back on.

    `predicted` and `actual` hold the notes' deviations (an actual one only where played), `missed` the notes
    that came out further off than two standard uncertainties, `lessons` what changed. `doubtful` says that
    the takes hardly belong to one reed in one chanter in the settings told. `fitting` holds the new take too.
    """

    fitting: Fitting
    setting: Setting
    doubtful: bool
    predicted: Mapping[str, Deviation]
    actual: Mapping[str, Deviation]
    missed: tuple[str, ...]
    lessons: tuple[Lesson, ...]


def after_act(fitting: Fitting, take: FittingTake) -> AfterAct:
    """Compare a take with what the fitting predicted for its setting, and learn from it."""
    setting = take.take.setting
    before = fitting.knowledge()
    learnt = fitting.with_take(take)
    after = learnt.knowledge()
    predicted = beam_of(fitting, before.predict([setting]), 0)
    actual = _actual(learnt, take)
    missed = tuple(
        note
        for note in actual
        if abs(actual[note].cents - predicted[note].cents)
        > _BORNE_OUT * np.hypot(actual[note].sd_cents, predicted[note].sd_cents) + 1e-6
    )
    return AfterAct(
        fitting=learnt,
        setting=setting,
        doubtful=after.doubtful,
        predicted=predicted,
        actual=actual,
        missed=missed,
        lessons=_lessons(before, after, fitting.present, setting) if fitting.takes else (),
    )


def _actual(fitting: Fitting, take: FittingTake) -> dict[str, Deviation]:
    cents, sd = deviations_cents(fitting, take.take.hz), take.take.sd_cents
    if fitting.reference_hz is None:
        sd = np.where(np.arange(len(NOTES)) == _LOW_A, 0.0, np.hypot(sd, sd[_LOW_A]))
    return {
        note: Deviation(
            cents=float(cents[i]),
            sd_cents=float(sd[i]),
            interval_cents=fitting.scale.cents(note),
        )
        for i, note in enumerate(NOTES)
        if np.isfinite(cents[i])
    }


def _lessons(before: Knowledge, after: Knowledge, earlier: Setting, setting: Setting) -> tuple[Lesson, ...]:
    """Slopes of whatever the act changed, as known before and after it."""
    found = []
    if abs(setting.seat_mm - earlier.seat_mm) > 0.01:
        old, new = per_mm_of_seat(before, setting), per_mm_of_seat(after, setting)
        found += [
            Lesson(what=f"1 mm deeper moves {note} by", before=old[note], after=new[note])
            for note in (LOW_A, HIGH_A)
        ]
    for hole in {*earlier.tape_mm, *setting.tape_mm}:
        if abs(setting.tape_mm.get(hole, 0.0) - earlier.tape_mm.get(hole, 0.0)) > 0.05:
            what = f"{_STRIP_MM:g} mm of tape on the {hole} hole moves {hole} by"
            found.append(Lesson(what=what, before=_strip(before, hole), after=_strip(after, hole)))
    if setting.pinches > earlier.pinches:
        found.append(Lesson(what="a pinch moves high A by", before=_pinch(before), after=_pinch(after)))
    return tuple(sorted(found, key=lambda lesson: lesson.what))


def _strip(knowledge: Knowledge, hole: str) -> Uncertain:
    bare = replace(knowledge.takes[0].setting, tape_mm={})
    return _effect(knowledge, bare, replace(bare, tape_mm={hole: _STRIP_MM}), hole)


def _pinch(knowledge: Knowledge) -> Uncertain:
    fresh = replace(knowledge.takes[0].setting, pinches=0)
    return _effect(knowledge, fresh, replace(fresh, pinches=1), HIGH_A)


def _effect(knowledge: Knowledge, earlier: Setting, later: Setting, note: str) -> Uncertain:
    moved, sd = knowledge.predict([earlier, later]).effect(0, 1)
    index = NOTES.index(note)
    return Uncertain(value=float(moved[index]), sd=float(sd[index]))
