"""After an act: what was predicted beside what was measured, and what that taught.

Guarded by `tests/doors/test_plan_command.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.setting import Setting
from canebench.base.uncertain import Uncertain
from canebench.bench.acts.fitting.beams import beam_at, rates_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
    from canebench.fitting.balance import Deviation
    from canebench.fitting.belief import Belief

#: A hole's tape is told of by what this much of it does, mm.
_STRIP_MM: Final = 1.5
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
    the takes hardly belong to one reed in one chanter in the settings told, `silent_seat` that the notes
    hardly answered a move of the seat. `fitting` holds the new take too.
    """

    fitting: Fitting
    setting: Setting
    doubtful: bool
    predicted: Mapping[str, Deviation]
    actual: Mapping[str, Deviation]
    missed: tuple[str, ...]
    lessons: tuple[Lesson, ...]
    silent_seat: bool = False


def after_act(fitting: Fitting, take: FittingTake) -> AfterAct:
    """Compare a take with what the fitting predicted for its setting, and learn from it."""
    setting = take.take.setting
    before = fitting.belief()
    learnt = fitting.with_take(take)
    after = learnt.belief()
    predicted = beam_at(fitting, before, setting)
    actual = learnt.newest()
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
        silent_seat=after.silent_seat,
    )


def _lessons(before: Belief, after: Belief, earlier: Setting, setting: Setting) -> tuple[Lesson, ...]:
    """Slopes of whatever the act changed, as known before and after it."""
    found = []
    if abs(setting.seat_mm - earlier.seat_mm) > 0.01:
        old, new = rates_of(before, setting), rates_of(after, setting)
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


def _strip(belief: Belief, hole: str) -> Uncertain:
    return _effect(belief, Setting(), Setting(tape_mm={hole: _STRIP_MM}), hole)


def _pinch(belief: Belief) -> Uncertain:
    return _effect(belief, Setting(), Setting(pinches=1), HIGH_A)


def _effect(belief: Belief, earlier: Setting, later: Setting, note: str) -> Uncertain:
    moved, sd = belief.effect(earlier, later)
    index = NOTES.index(note)
    return Uncertain(value=float(moved[index]), sd=float(sd[index]))
