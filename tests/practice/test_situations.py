"""Measured situations and the act that practice asks for: the same by the plan, the text and the object.

Common practice, no source: the octave first, then E and C, then the rest; break in what is flat, tape only
what is sharp and was heard, low G drives nothing, a chanter in tune is left alone. Sizes are bounds, in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.scales import DEFAULT_SCALE
from canebench.base.setting import Setting
from canebench.bench.acts.fitting.fitting import Fitting, FittingTake
from canebench.bench.acts.fitting.plan_setting import Plan, plan_setting
from canebench.bench.views.wire.plan import plan_object
from canebench.cli.text.plan_text import plan_text
from canebench.fitting.acts import Act
from canebench.fitting.limits import Limits
from canebench.fitting.rule_bounds import LEAST_SEAT_MM, MOST_ACTS
from canebench.fitting.sizing import LEAST_TAPE_MM
from canebench.fitting.take import Take

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_RATIOS = np.array([DEFAULT_SCALE.ratios[note] for note in NOTES])
_LOW_A_HZ, _FIXED_HZ = 474.0, 478.0
_CALM = frozenset({Act.LEAVE, Act.BREAK_IN, Act.MEASURE_AGAIN, Act.SET_ASIDE})


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """One take: a tilt over the scale, notes off it, what was told; the acts that practice would do next."""

    name: str
    acts: frozenset[Act]
    tilt: float = 0.0
    rest: Mapping[str, float] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    fixed_off: float | None = None
    seat_mm: float = 0.0
    tape: Mapping[str, float] = field(default_factory=dict)
    holes: tuple[str, ...] = ()
    most_mm: float = 2.5
    sd: float = 0.5


def _s(name: str, *acts: Act, **more: object) -> Situation:
    return Situation(name=name, acts=frozenset(acts), **more)  # type: ignore[arg-type]


_EVEN_FLAT = dict.fromkeys(("B", "C", "D", "E", "F", "high G"), -9.0)
SITUATIONS = (
    _s("all right", Act.LEAVE),
    _s("all right, by a hair", Act.LEAVE, tilt=1.5, rest={"C": 2.0, "F": -2.0}),
    _s("all right, on old tape", Act.LEAVE, tape={"C": 2.0, "E": 1.0}),
    _s("all right, seat moved before", Act.LEAVE, seat_mm=1.0),
    *(_s(f"only low G {off:+g}", Act.LEAVE, rest={"low G": off}) for off in (-20.0, -9.0, 9.0, 20.0)),
    *(_s(f"octave {-off:g} narrow", Act.SEAT_DEEPER, tilt=off) for off in (-8.0, -12.0, -20.0, -30.0, -42.0)),
    *(_s(f"octave {off:g} wide", Act.RAISE_WITH_HEMP, tilt=off) for off in (8.0, 12.0, 20.0, 30.0, 42.0)),
    *(
        _s(f"octave narrow and {note} sharp", Act.SEAT_DEEPER, tilt=-18.0, rest={note: 14.0})
        for note in ("C", "E", "F")
    ),
    *(
        _s(f"octave wide and {note} flat", Act.RAISE_WITH_HEMP, tilt=18.0, rest={note: -8.0})
        for note in ("C", "E", "F")
    ),
    *(
        _s(f"{note} alone sharp", Act.TAPE, rest={note: 14.0}, holes=(note,))
        for note in ["B", "C", "D", "E", "F"]
    ),
    _s("high G alone sharp", Act.TAPE, rest={"high G": 14.0}, holes=("high G",)),
    *(
        _s(f"{a} and {b} sharp", Act.TAPE, rest={a: 14.0, b: 12.0}, holes=(a, b))
        for a, b in (("B", "E"), ("C", "F"), ("D", "high G"), ("C", "E"))
    ),
    *(
        _s(f"{note} as far out as a breath may be", Act.MEASURE_AGAIN, rest={note: 6.0})
        for note in ("B", "C", "D", "F", "high G")
    ),
    *(_s(f"{note} a shade sharp", Act.LEAVE, rest={note: 3.0}) for note in ("B", "C", "D", "F", "high G")),
    *(_s(f"{note} alone flat", *_CALM, rest={note: -9.0}) for note in ["B", "C", "D", "E", "F"]),
    _s("C far flat", Act.BREAK_IN, Act.SET_ASIDE, Act.TAPE, rest={"C": -25.0}),
    _s("F far flat", Act.BREAK_IN, Act.SET_ASIDE, Act.TAPE, rest={"F": -25.0}),
    *(
        _s(f"{note} flat under tape", Act.TAPE, Act.TAPE_OFF, rest={note: -14.0}, tape={note: 3.0})
        for note in ("C", "D", "E", "F")
    ),
    _s("all between flat: the As are sharp", Act.TAPE, rest=_EVEN_FLAT, holes=(LOW_A, HIGH_A)),
    _s("no high A", Act.PLAY_THE_OCTAVE, missing=(HIGH_A,)),
    _s("no low A", Act.PLAY_THE_OCTAVE, missing=(LOW_A,)),
    _s("only the As", Act.CHECK_E_AND_C, missing=("low G", "B", "C", "D", "E", "F", "high G")),
    _s("no E", Act.CHECK_E_AND_C, missing=("E",)),
    _s("no C", Act.CHECK_E_AND_C, missing=("C",)),
    _s("no D", Act.PLAY_ALL_NINE, missing=("D",)),
    _s("no D, and the octave narrow", Act.SEAT_DEEPER, tilt=-20.0, missing=("D",)),
    _s("no F, and the octave wide", Act.RAISE_WITH_HEMP, tilt=20.0, missing=("F",)),
    _s("octave and everything vague", *_CALM, tilt=4.0, sd=8.0),
    _s("fixed pitch, all right", Act.LEAVE, fixed_off=0.0),
    _s(
        "fixed pitch, octave true, whole chanter 12 flat",
        Act.SEAT_DEEPER,
        *_CALM,
        fixed_off=-12.0,
        most_mm=1.0,
    ),
    _s(
        "fixed pitch, octave true, whole chanter 12 sharp",
        Act.RAISE_WITH_HEMP,
        *_CALM,
        fixed_off=12.0,
        most_mm=1.5,
    ),
    _s("fixed pitch, flat and narrow", Act.SEAT_DEEPER, tilt=-20.0, fixed_off=-15.0),
    _s("fixed pitch, sharp and wide", Act.RAISE_WITH_HEMP, tilt=20.0, fixed_off=15.0),
    _s("fixed pitch, only C sharp", Act.TAPE, fixed_off=0.0, rest={"C": 14.0}, holes=("C",)),
)


def _fitting(one: Situation) -> Fitting:
    """The tilt leaves low A where it is, or, on a fixed pitch, turns about the middle."""
    along = np.log2(_RATIOS)
    cents = one.tilt * along + np.array([one.rest.get(note, 0.0) for note in NOTES])
    if one.fixed_off is None:
        hz = _LOW_A_HZ * _RATIOS * np.exp2(cents / 1200)
    else:
        hz = _FIXED_HZ * _RATIOS * np.exp2((cents - one.tilt / 2 + one.fixed_off) / 1200)
    hz[[NOTES.index(note) for note in one.missing]] = np.nan
    take = Take(
        setting=Setting(seat_mm=one.seat_mm, tape_mm=one.tape), hz=hz, sd_cents=np.full(len(NOTES), one.sd)
    )
    return Fitting(
        takes=(FittingTake(origin=one.name, take=take),),
        reference_hz=None if one.fixed_off is None else _FIXED_HZ,
    )


def _changed(plan: Plan) -> Iterable[tuple[str, float]]:
    """Each hole whose strip the plan changes, and by how much."""
    before, after = plan.fitting.present.tape_mm, plan.setting.tape_mm
    for hole in {*before, *after}:
        if after.get(hole) != before.get(hole):
            yield hole, after.get(hole, 0.0) - before.get(hole, 0.0)


_POSTS_MISSING = [one for one in SITUATIONS if {LOW_A, HIGH_A} & set(one.missing)]
_PLANNED = [one for one in SITUATIONS if one not in _POSTS_MISSING]


def test_there_are_sixty_situations() -> None:
    assert len(SITUATIONS) >= 60
    assert len({one.name for one in SITUATIONS}) == len(SITUATIONS)


@pytest.mark.parametrize("one", _PLANNED, ids=lambda one: one.name)
def test_the_plan_does_what_practice_asks(one: Situation) -> None:
    """The first act, how large it is, and nothing else beside it."""
    plan = plan_setting(_fitting(one))
    assert plan.next_act.act in one.acts, (one.name, plan.next_act.say, plan.next_act.why)
    assert len(plan.steps) <= MOST_ACTS
    assert (plan.verdict is None) == bool(plan.steps)
    travel = abs(plan.setting.seat_mm - one.seat_mm)
    assert travel == 0 or LEAST_SEAT_MM - 1e-9 <= travel <= one.most_mm + 1e-9
    for hole, more in _changed(plan):
        assert abs(more) >= LEAST_TAPE_MM - 1e-9 or hole not in plan.setting.tape_mm
        assert hole not in one.missing
    if one.holes:
        assert {hole for hole, _ in _changed(plan)} <= {*one.holes}


@pytest.mark.parametrize("one", _PLANNED, ids=lambda one: one.name)
def test_command_and_wire_say_the_same(one: Situation) -> None:
    """One act now, in the text and in the object."""
    plan = plan_setting(_fitting(one))
    first = plan_object(plan)["next_act"]
    assert first["act"] == plan.next_act.act.value
    text = " ".join(plan_text(plan, fitting_path=None).split())
    assert " ".join(first["say"].split()) in text
    assert ("set aside" in first["say"].lower()) <= (not plan.steps)


@pytest.mark.parametrize(("cents", "act"), [(5.5, Act.LEAVE), (7.0, Act.TAPE)])
def test_the_second_take_of_a_setting_decides(cents: float, act: Act) -> None:
    """It is asked for once: then the note is left alone, or taped."""
    once = _fitting(_s("once", rest={"C": cents}))
    assert plan_setting(once).next_act.act is Act.MEASURE_AGAIN
    assert plan_setting(replace(once, takes=once.takes * 2)).next_act.act is act


def test_no_strip_beside_another_on_a_note_in_tolerance() -> None:
    """F is taped; B, just inside its tolerance, is left as it is, though its strip would gain something."""
    plan = plan_setting(_fitting(_s("B inside", rest={"F": 14.0, "B": 4.8})))
    assert {hole for hole, _ in _changed(plan)} == {"F"}
    both = plan_setting(_fitting(_s("B outside", rest={"F": 14.0, "B": 9.0})))
    assert {hole for hole, _ in _changed(both)} == {"F", "B"}


def _at_the_bottom(tilt: float, pinches_left: int) -> Plan:
    """A reed as deep as it goes whose octave is this far off."""
    one = _fitting(_s("at the bottom", tilt=tilt))
    return plan_setting(replace(one, limits=Limits(deeper_mm=0.0, pinches_left=pinches_left)))


def test_no_tape_before_an_octave_that_the_seat_cannot_mend() -> None:
    """It is given up for this chanter, and the note that stays out is named; never called a breath."""
    plan = _at_the_bottom(-40.0, 0)
    assert plan.next_act.act is Act.SET_ASIDE
    assert HIGH_A in plan.next_act.why


@pytest.mark.parametrize(("tilt", "act"), [(-9.0, Act.PINCH), (-40.0, Act.SET_ASIDE)])
def test_a_pinch_only_for_a_little(tilt: float, act: Act) -> None:
    """At the bottom a pinch sharpens the top hand a little; a far narrow octave it does not mend."""
    assert _at_the_bottom(tilt, 2).next_act.act is act


def test_control_a_wrong_way_seat_is_seen() -> None:
    """The table finds an act that goes the other way."""
    narrow = next(one for one in SITUATIONS if one.name == "octave 20 narrow")
    wide = next(one for one in SITUATIONS if one.name == "octave 20 wide")
    assert plan_setting(_fitting(wide)).next_act.act not in narrow.acts
