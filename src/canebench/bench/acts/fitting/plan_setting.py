"""Plan a setting: the rules choose the act from the newest take, the belief sizes, checks and predicts it.

Guarded by `tests/practice/test_situations.py` and `benchmarks/rounds.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.bench.acts.fitting.beams import beam_at, common_sd_cents, rates_of
from canebench.fitting import acts
from canebench.fitting.acts import Act
from canebench.fitting.balance import octave_of
from canebench.fitting.next_act import Against, next_act
from canebench.fitting.plan_words import words
from canebench.fitting.rule_bounds import LEAST_SEAT_MM, SEAT_WAYS, bounds_of, tape_alone
from canebench.fitting.sizing import Aim, sized
from canebench.fitting.tolerance import TOLERANCE_CENTS
from canebench.fitting.verdicts import NO_REASON, NOTHING_GAINED, named, notes_off, what_is_left
from canebench.fitting.working_order import working_order

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.setting import Setting
    from canebench.bench.acts.fitting.fitting import Fitting
    from canebench.bench.acts.fitting.report import TakeReport
    from canebench.fitting.acts import NextAct
    from canebench.fitting.balance import Deviation
    from canebench.fitting.belief import Belief
    from canebench.fitting.sizing import Allowed

#: Acts that ask for another take before anything is changed.
_LOOKS: Final = (Act.PLAY_THE_OCTAVE, Act.MEASURE_AGAIN, Act.CHECK_E_AND_C, Act.PLAY_ALL_NINE)
#: A reed whose octave is this far out is judged anew, on a bare chanter; an estimate of ours.
_FAR_OUT_CENTS: Final = 10.0
#: A note calls for an act where it is out of tolerance with this chance, by all takes or by the newest alone.
_OFF: Final = 0.9
#: Where none is so sure, but one may be with this chance, the same setting is played once more first.
_MAYBE, _MOST_TAKES = 0.5, 2
#: An octave narrower than this no pinch mends; and how sure it must be that a note is far out.
_PINCHED_CENTS, _SURE = 12.0, 0.9
#: Acts of the rules that need an amount: without one there is nothing to do.
_SIZED: Final = (*SEAT_WAYS, Act.TAPE)
#: Pipes are cold for so long, minutes: an estimate of ours (that they warm up first is common practice).
_WARM_MIN: Final = 10.0
#: Verdicts that are not reached on cold pipes either.
_CHANGES: Final = (Act.SET_ASIDE, Act.BREAK_IN, Act.CHECK_THE_SEAT)
_ONE_BREATH: Final = "One take cannot tell what is out from how one breath differs from the next"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One act, the setting after it, and the beam predicted for that."""

    act: NextAct
    setting: Setting
    beam: Mapping[str, Deviation]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The plan.

    Attributes
    ----------
    fitting : Fitting
        What was planned from, with the settings that the steps lead through.
    now : mapping of note to Deviation
        The newest take; a note that it lacks as it is believed to be.
    believed : mapping of note to Deviation
        The same notes as all takes together have it.
    heard : frozenset of notes
        Those of the newest take.
    steps : tuple of PlanStep
        At most four acts in working order; empty where nothing is to be done to the setting.
    verdict : NextAct or None
        What to do instead, where there are no steps.
    tolerance_cents : mapping of note to number
        What counts as in tune.
    """

    fitting: Fitting
    belief: Belief
    now: Mapping[str, Deviation]
    believed: Mapping[str, Deviation]
    heard: frozenset[str]
    steps: tuple[PlanStep, ...]
    verdict: NextAct | None
    tolerance_cents: Mapping[str, float]

    @property
    def next_act(self) -> NextAct:
        """The one act to do next."""
        if self.steps:
            return self.steps[0].act
        assert self.verdict is not None  # noqa: S101 - one of the two there always is
        return self.verdict

    @property
    def setting(self) -> Setting:
        """The setting that all steps lead to."""
        return self.steps[-1].setting if self.steps else self.fitting.present

    @property
    def doubtful(self) -> bool:
        """Whether the newest take hardly fits the setting told."""
        return self.belief.doubtful


def plan_setting(
    fitting: Fitting,
    *,
    tolerance_cents: Mapping[str, float] = TOLERANCE_CENTS,
    report: TakeReport | None = None,
) -> Plan:
    """The next acts of a fitting, at most four.

    Parameters
    ----------
    fitting : Fitting
        With at least one take, in which low A and high A were played.
    tolerance_cents : mapping of note to number
        How far off each note may be, cents > 0.
    report : TakeReport, optional
        That of the newest take: drones that it heard off low A are moved once the reed is left alone.

    Raises
    ------
    InputError
        Where there is no such take.
    """
    _check(fitting)
    belief = fitting.belief()
    newest = fitting.newest()
    aim = Aim(
        tolerance_cents=np.array([tolerance_cents[note] for note in NOTES]),
        counted=np.array([note in newest for note in NOTES]),
        follow_low_a=fitting.follow_low_a,
    )
    against: Against = "low-a" if fitting.follow_low_a else "fixed"
    believed = beam_at(fitting, belief, fitting.present)
    common = 0.0 if fitting.follow_low_a else common_sd_cents(belief, fitting.present)
    heard = {note: _apart(believed[note], common) for note in newest}
    rule = next_act(heard, against=against, reference_sd_cents=common)
    planned, verdict = _decided(
        fitting, belief, aim, rule, {note: believed[note] for note in newest}, newest, tolerance_cents
    )
    warm_min = fitting.takes[-1].take.warm_min
    if (
        warm_min is not None
        and warm_min < _WARM_MIN
        and (planned != fitting.present or verdict.act in _CHANGES)
    ):
        planned, verdict = fitting.present, acts.warm_up(warm_min, enough_min=_WARM_MIN)
    if verdict.act is Act.LEAVE and report is not None and report.next_act.act is Act.MOVE_THE_DRONES:
        verdict = report.next_act
    steps = _steps(fitting, belief, planned, now={**believed, **newest})
    return Plan(
        fitting=replace(fitting, planned=tuple(step.setting for step in steps)),
        belief=belief,
        now={note: newest.get(note, believed[note]) for note in NOTES},
        believed=believed,
        heard=frozenset(newest),
        steps=steps,
        verdict=None if steps else verdict,
        tolerance_cents=dict(tolerance_cents),
    )


def _apart(one: Deviation, common_sd_cents: float) -> Deviation:
    """The deviation with what is a note's own uncertainty, without that of all notes together."""
    return replace(one, sd_cents=math.sqrt(max(0.0, one.sd_cents**2 - common_sd_cents**2)))


def _check(fitting: Fitting) -> None:
    if not fitting.takes:
        raise InputError(field="fitting", given="no take", allowed="a plan starts from one take at least")
    heard = fitting.takes[-1].take.hz
    missing = [note for note in (LOW_A, HIGH_A) if not np.isfinite(heard[NOTES.index(note)])]
    if missing:
        raise InputError(
            field="take",
            given=f"no {' and no '.join(missing)}",
            allowed="the beam lies through low A and high A",
            nearest="play a slow scale with both, and measure again",
        )


def _decided(
    fitting: Fitting,
    belief: Belief,
    aim: Aim,
    rule: NextAct,
    beam: Mapping[str, Deviation],
    newest: Mapping[str, Deviation],
    tolerance: Mapping[str, float],
) -> tuple[Setting, NextAct]:
    """The setting to go to, and what to say where that is the present one.

    `beam` is what is believed now of the notes that are in the `newest` take.
    """
    present = fitting.present
    asked = _asked_first(fitting, belief, rule)
    if asked is not None:
        return present, asked
    if _judged_on_old_tape(fitting, rule, beam):
        return replace(present, tape_mm={}), rule
    surely = notes_off(beam, tolerance, _OFF)
    off = surely | notes_off(newest, tolerance, _OFF)
    if not off:
        played_on = acts.leave(NOTHING_GAINED) if rule.act in _SIZED else rule
        return present, _once_more(fitting, beam, tolerance) or played_on
    chanter = fitting.chanter.chanter
    allowed = bounds_of(
        rule.act,
        beam,
        present=present,
        earlier=None if len(fitting.takes) < 2 else fitting.takes[-2].take.setting,
        limits=fitting.limits,
        deepest_mm=chanter.seat.gap_mm,
        hole_mm=[hole.diameter_mm for hole in chanter.holes],
        follow_low_a=aim.follow_low_a,
    )
    if _a_pinch_helps(fitting, rule, beam):
        return replace(present, pinches=present.pinches + 1), rule
    found = sized(belief, present, aim, allowed)
    if found == present and allowed.must_move:
        found = sized(belief, present, aim, tape_alone(allowed, beam, tolerance))
    if rule.act is Act.SET_ASIDE and not _all_in(beam_at(fitting, belief, found), beam, tolerance):
        return present, rule
    left = rule
    if found == present and rule.act in _SIZED:
        moved = _moved(fitting, belief, aim, allowed)
        left = what_is_left(surely, beam, moved=moved, tolerance_cents=tolerance)
    return found, _given_up(off, beam, tolerance) or left


def _moved(
    fitting: Fitting, belief: Belief, aim: Aim, allowed: Allowed
) -> tuple[float, Mapping[str, Deviation]] | None:
    """The best that the seat alone could do, mm deeper, and the beam expected then."""
    seats = [replace(fitting.present, seat_mm=seat_mm) for seat_mm in allowed.seats_mm]
    if not seats:
        return None
    best = seats[int(np.argmin(aim.loss(*belief.predict(seats))))]
    return best.seat_mm - fitting.present.seat_mm, beam_at(fitting, belief, best)


def _once_more(
    fitting: Fitting, beam: Mapping[str, Deviation], tolerance: Mapping[str, float]
) -> NextAct | None:
    """Ask for the same setting again, where a note may be out and one take cannot tell it from a breath."""
    maybe = notes_off(beam, tolerance, _MAYBE)
    if not maybe or _takes_here(fitting) >= _MOST_TAKES:
        return None
    return acts.measure_again(f"{_ONE_BREATH}: {named(maybe, beam)}.")


def _takes_here(fitting: Fitting) -> int:
    """How many takes in a row, the newest among them, were played in the present setting."""
    count = 0
    for take in reversed(fitting.takes):
        if take.take.setting != fitting.present:
            break
        count += 1
    return count


def _a_pinch_helps(fitting: Fitting, rule: NextAct, beam: Mapping[str, Deviation]) -> bool:
    """Whether the seat is at its end and the octave so little narrow that a pinch may mend it."""
    limits, deepest_mm = fitting.limits, fitting.chanter.chanter.seat.gap_mm
    room_mm = min(limits.deeper_mm, deepest_mm - fitting.present.seat_mm)
    tilt, _ = octave_of(beam)
    at_end = room_mm < LEAST_SEAT_MM and limits.pinches_left > 0
    return rule.act is Act.SEAT_DEEPER and at_end and tilt > -_PINCHED_CENTS


def _all_in(
    after: Mapping[str, Deviation], heard: Mapping[str, Deviation], tolerance: Mapping[str, float]
) -> bool:
    """Whether every note that was heard is expected in tolerance."""
    return all(abs(after[note].cents) <= tolerance[note] for note in heard if note not in NO_REASON)


def _given_up(off: set[str], beam: Mapping[str, Deviation], tolerance: Mapping[str, float]) -> NextAct | None:
    """What to say of notes that are surely and far out, and that nothing within the limits mends."""
    far = off & notes_off(beam, {note: cents + _FAR_OUT_CENTS for note, cents in tolerance.items()}, _SURE)
    if not far:
        return None
    return acts.set_aside(
        f"Within these limits neither seat nor tape brings it into tune: {named(far, beam)}."
    )


def _asked_first(fitting: Fitting, belief: Belief, rule: NextAct) -> NextAct | None:
    """What has to be known before anything is changed."""
    if belief.silent_seat:
        return acts.check_that_it_moved()
    if belief.doubtful:
        return acts.check_the_setting()
    if rule.act is Act.MEASURE_AGAIN and _takes_here(fitting) >= _MOST_TAKES:
        # A third take of one setting would tell little more.
        return acts.leave(NOTHING_GAINED)
    return rule if rule.act in _LOOKS else None


def _judged_on_old_tape(fitting: Fitting, rule: NextAct, beam: Mapping[str, Deviation]) -> bool:
    """Whether a reed that is new here was heard with tape on, and is too far out for it to stay."""
    tilt, _ = octave_of(beam)
    new = len(fitting.takes) == 1 and bool(fitting.present.tape_mm)
    return new and rule.act in SEAT_WAYS and abs(tilt) > _FAR_OUT_CENTS


def _steps(
    fitting: Fitting, belief: Belief, planned: Setting, *, now: Mapping[str, Deviation]
) -> tuple[PlanStep, ...]:
    moves = working_order(fitting.present, planned)
    beams = [dict(now), *(beam_at(fitting, belief, move.after) for move in moves)]
    per_mm = rates_of(belief, fitting.present)
    return tuple(
        PlanStep(
            act=words(
                move,
                before=beams[i],
                after=beams[i + 1],
                per_mm=per_mm,
                hemp=fitting.hemp,
                measured=i == 0,
            ),
            setting=move.after,
            beam=beams[i + 1],
        )
        for i, move in enumerate(moves)
    )
