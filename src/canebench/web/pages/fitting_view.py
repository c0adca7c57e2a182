"""A fitting as the page shows it: pictures, words and rows, all numbers already formatted.

Guarded by `tests/web/test_fitting.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.sentences import seat_said
from canebench.base.setting import strip_said
from canebench.base.uncertain import MINUS, Uncertain
from canebench.bench.acts.fitting.read_takes import NO_TAKE
from canebench.bench.views.drawing.draw_fitting import (
    draw_after,
    draw_expected,
    draw_now,
    draw_tape,
    draw_unplayed,
)
from canebench.bench.views.newest_take import told_by_all
from canebench.bench.views.verdict import still_missing, verdict_of
from canebench.fitting.acts import Act
from canebench.fitting.limits import HIGHEST_MM

if TYPE_CHECKING:
    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.bench.views.drawing.draw_fitting import Drawn
    from canebench.bench.views.fitting_now import FittingNow
    from canebench.bench.views.verdict import Verdict
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation
    from canebench.web.live.recordings import Unfinished

_SENTENCE_END: Final = re.compile(r"(?<=[a-z)]\.) (?=[A-Z])")
#: The fitting's stages, in the order of the bench.
STAGES: Final = ("Clean start", "Low A and high A", "E and C", "All nine", "Card")
#: Moved at the drones and not at the reed, or nothing at all: the setting stays as it is.
_NOTHING_DONE: Final = (Act.LEAVE, Act.BREAK_IN, Act.SET_ASIDE)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """One note in words."""

    note: str
    hz: str
    now: str
    all_takes: str
    predicted: str
    next: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingView:
    """All that the page shows of a fitting."""

    fitting: FittingNow
    takes: int
    newest_take: int
    stage: int
    now: Drawn
    unplayed: Drawn
    missing: str
    after: Drawn | None
    expected: Drawn | None
    tape: str
    tape_said: list[tuple[str, str]]
    verdict: Verdict | None
    act: NextAct | None
    headline: str
    further: str
    acts: list[NextAct]
    rows: list[NoteRow]
    missed: tuple[str, ...]
    silent_seat: bool
    doubtful: bool
    remarks: list[str]
    lessons: list[tuple[str, str, str]]
    setting: Setting
    setting_said: str
    seat_room: str
    pinches_said: str
    unfinished: list[Unfinished]
    finished: bool


def view_of(now: FittingNow, *, unfinished: list[Unfinished]) -> FittingView:
    """Put a fitting into words and pictures."""
    plan, after, present = now.plan, now.after, now.fitting.present
    act, scale = now.next_act, now.fitting.scale
    planned = plan.setting if plan is not None and plan.steps else None
    return FittingView(
        fitting=now,
        takes=len(now.takes),
        newest_take=now.takes[-1].id if now.takes else NO_TAKE,
        stage=_stage(act),
        now=draw_now(now) or draw_unplayed(scale, title="The beam, not heard yet", prefix="now"),
        unplayed=draw_unplayed(scale, title="The beam so far", prefix="unplayed"),
        missing=still_missing(()),
        after=draw_after(now),
        expected=draw_expected(now),
        tape=draw_tape(
            now.fitting.chanter,
            present,
            title="Tape now" if _same_tape(present, planned) else "Tape now, and dotted as planned",
            planned=planned,
        ),
        tape_said=_tape(present, planned),
        verdict=None if now.report is None else verdict_of(now.report),
        act=act,
        headline="" if act is None else sentences_of(act.say)[0],
        further="" if act is None else sentences_of(act.say)[1],
        acts=[] if plan is None else [step.act for step in plan.steps],
        rows=_rows(now),
        missed=() if after is None else after.missed,
        silent_seat=after is not None and after.silent_seat,
        doubtful=after is not None and after.doubtful,
        remarks=[] if now.report is None else [one.text for one in now.report.measurement.findings],
        lessons=[]
        if after is None
        else [
            (one.what, one.before.text("cents", signed=True), one.after.text("cents", signed=True))
            for one in after.lessons
        ],
        setting=present,
        setting_said=_said(present),
        seat_room=f"From {MINUS}{HIGHEST_MM:g}, where it leaks, to {now.fitting.deepest_mm:g}, the bottom.",
        pinches_said=now.pinches_said,
        unfinished=unfinished,
        finished=act is not None and act.act in _NOTHING_DONE,
    )


def sentences_of(say: str) -> tuple[str, str]:
    """The first sentence, which is read from two metres, and what follows it."""
    first, *rest = _SENTENCE_END.split(say, maxsplit=1)
    return first, rest[0] if rest else ""


def _stage(act: NextAct | None) -> int:
    if act is None:
        return 0
    if act.act in (Act.CHECK_E_AND_C,):
        return 2
    if act.act in (Act.TAPE, Act.PLAY_ALL_NINE):
        return 3
    return 4 if act.act in _NOTHING_DONE else 1


def _rows(now: FittingNow) -> list[NoteRow]:
    if now.report is None:
        return []
    heard = {note.note: note for note in now.report.measurement.notes}
    predicted = {} if now.after is None else now.after.predicted
    steps = () if now.plan is None else now.plan.steps
    following = steps[0].beam if steps else {}
    return [
        NoteRow(
            note=note,
            hz="not played"
            if note not in heard
            else Uncertain(value=heard[note].hz, sd=heard[note].sd_hz).text("Hz"),
            now="" if note not in heard else _cents(now.report, note),
            all_takes="" if now.plan is None else _deviation(told_by_all(now.plan, note)),
            predicted=_deviation(predicted.get(note)),
            next=_deviation(following.get(note)),
        )
        for note in NOTES
    ]


def _cents(report: TakeReport, note: str) -> str:
    found = next(one for one in report.measurement.notes if one.note == note)
    return Uncertain(value=found.cents, sd=report.repeat_sd_cents[note]).text("cents", signed=True)


def _deviation(found: Deviation | None) -> str:
    if found is None:
        return ""
    if found.sd_cents == 0.0:
        return "the reference"
    return Uncertain(value=found.cents, sd=found.sd_cents).text("cents", signed=True)


def _tape(present: Setting, planned: Setting | None) -> list[tuple[str, str]]:
    """Each taped hole, from the bottom up, in millimetres from its upper edge."""
    said = []
    for hole in HOLES:
        now, then = present.tape_mm.get(hole, 0.0), planned.tape_mm.get(hole, 0.0) if planned else None
        if now or then:
            words = strip_said(now) if now else "bare"
            if then is not None and abs(then - now) > 0.05:
                words += f" now, {strip_said(then)} planned"
            said.append((hole, words))
    return said


def _same_tape(present: Setting, planned: Setting | None) -> bool:
    return planned is None or planned.tape_mm == present.tape_mm


def _said(setting: Setting) -> str:
    where = seat_said(setting.seat_mm) + ("" if setting.seat_mm else ": the zero point")
    holes = [f"{hole} {strip_said(setting.tape_mm[hole])}" for hole in HOLES if setting.tape_mm.get(hole)]
    return f"{where}; tape: {', '.join(holes) or 'none'}"
