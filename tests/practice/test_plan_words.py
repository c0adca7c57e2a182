"""What a planned act says. Common practice, no source."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from canebench.base.notes import LOW_A, NOTES
from canebench.base.setting import Setting, strip_said
from canebench.base.uncertain import Uncertain
from canebench.fitting.acts import STEP_MM, Act, NextAct
from canebench.fitting.balance import Deviation
from canebench.fitting.hemp import Hemp
from canebench.fitting.plan_words import words
from canebench.fitting.working_order import Move, working_order

if TYPE_CHECKING:
    from collections.abc import Iterable

_BEFORE = dict(zip(NOTES, (3.0, 2.0, 1.0, 0.0, 7.5, -3.0, -5.0, -8.0, -11.0), strict=True))
_AFTER = dict(zip(NOTES, (2.0, 1.0, 1.0, 0.5, 1.0, -0.5, -0.8, -1.0, -1.2), strict=True))
_PER_MM = {note: Uncertain(value=4.0 + 2 * i, sd=0.8) for i, note in enumerate(NOTES)}
_BARE = Setting()
_EVERYTHING = Setting(seat_mm=0.75, tape_mm={"D": 1.5}, pinches=1)


def _beam(cents: dict[str, float], *, sd_cents: float = 0.6) -> dict[str, Deviation]:
    return {
        note: Deviation(cents=value, sd_cents=sd_cents, interval_cents=150.0 * NOTES.index(note))
        for note, value in cents.items()
    }


def _said(move: Move, *, hemp: Hemp | None = None, measured: bool = True) -> NextAct:
    return words(
        move,
        before=_beam(_BEFORE),
        after=_beam(_AFTER),
        per_mm=_PER_MM,
        hemp=hemp or Hemp(),
        measured=measured,
    )


def _one(act: Act, present: Setting, planned: Setting) -> Move:
    return next(move for move in working_order(present, planned) if move.act is act)


def _seat(travel_mm: float) -> Move:
    act = Act.SEAT_DEEPER if travel_mm > 0 else Act.RAISE_WITH_HEMP
    return _one(act, _BARE, Setting(seat_mm=travel_mm))


def _tape(present: Setting = _BARE) -> Move:
    return _one(Act.TAPE, present, replace(present, tape_mm={"D": 1.5}))


def _pinch() -> Move:
    return _one(Act.PINCH, _BARE, Setting(pinches=1))


def _every_move() -> list[Move]:
    taped = Setting(tape_mm={"B": 1.0})
    return [
        *working_order(taped, _EVERYTHING),
        _seat(-0.5),
        _seat(2.0),
        _tape(Setting(tape_mm={"D": 0.8})),
        _one(Act.TAPE_OFF, taped, _BARE),
    ]


def _whole(act: NextAct) -> str:
    return " ".join((act.say, act.why, act.check, act.stop, *act.cautions))


def _faults(act: NextAct) -> list[str]:
    """What an act lacks: whole sentences for what, why, how to check and when to stop."""
    parts = {"say": act.say, "why": act.why, "check": act.check, "stop": act.stop}
    found = [name for name, text in parts.items() if len(text) < 15 or not text.endswith(".")]
    found += [name for name, text in parts.items() if text != text.strip() or "  " in text or ".." in text]
    found += [name for name, text in parts.items() if not text[0].isupper()]
    return found + [word for word in ("nan", "None", "inf ") if word in _whole(act)]


def _advises_blowing_harder(acts: Iterable[NextAct]) -> list[str]:
    """Sentences that ask for more breath and do not forbid it."""
    sentences = [sentence for act in acts for sentence in re.split(r"(?<=[.:]) ", _whole(act))]
    return [
        sentence
        for sentence in sentences
        if re.search(r"\b(blow|blown|blowing|breathe)\b.*\b(harder|stronger|more)\b", sentence.lower())
        and not sentence.lower().startswith("never")
    ]


@pytest.mark.parametrize("measured", [True, False])
def test_every_act_says_what_why_how_to_check_and_when_to_stop(*, measured: bool) -> None:
    acts = [_said(move, measured=measured) for move in _every_move()]
    assert {act.act for act in acts} == {
        Act.TAPE_OFF,
        Act.PINCH,
        Act.SEAT_DEEPER,
        Act.RAISE_WITH_HEMP,
        Act.TAPE,
    }
    for act in acts:
        assert _faults(act) == []


def test_an_act_without_its_reason_would_be_noticed() -> None:
    """The control."""
    act = _said(_seat(0.5))
    assert "why" in _faults(replace(act, why=" "))
    assert _faults(replace(act, stop="When it is right")) == ["stop"]


def test_nothing_ever_asks_for_harder_blowing() -> None:
    acts = [_said(move) for move in _every_move()]
    assert _advises_blowing_harder(acts) == []
    bad = replace(acts[0], stop="If it stays flat, blow a little harder.")
    assert _advises_blowing_harder([bad]) == [bad.stop]


def test_deeper_is_by_hand_and_takes_hemp_off() -> None:
    act = _said(_seat(0.5))
    assert "0.5 mm deeper" in act.say
    assert "take hemp off" in act.say
    assert "by hand" in act.say
    assert "wind on" not in act.say
    assert "must not be forced" in act.stop
    assert "raise it by half" in act.stop
    assert any("binding" in caution for caution in act.cautions)


def test_raising_winds_hemp_on_and_names_one_amount() -> None:
    act = _said(_seat(-0.5))
    assert "Raise the reed by 0.5 mm" in act.say
    assert "wind on about 1½ turns, which is 35 mm (1.4 inches) of thread" in act.say
    # The usual first try is another amount, for another fault: beside this one it would only confuse.
    assert act.say.count("inches") == 1
    assert "estimate" in act.say
    assert "hemp off" not in act.say
    assert "take half of the new hemp off" in act.stop
    assert "airtight" in act.stop


def test_what_your_hemp_did_before_is_no_estimate() -> None:
    act = _said(_seat(-0.5), hemp=Hemp(inches_per_mm=5.0))
    assert "2½ turns, which is 59 mm (2.3 inches)" in act.say
    assert "estimate" not in act.say


@pytest.mark.parametrize("travel_mm", [0.25, 0.5, 0.75, 2.0, -0.25, -0.5, -0.75, -2.0])
def test_the_seat_moves_by_half_a_millimetre_at_most_at_a_time(travel_mm: float) -> None:
    assert STEP_MM == 0.5
    in_moves = "in moves of at most 0.5 mm" in _said(_seat(travel_mm)).say
    assert in_moves == (abs(travel_mm) > STEP_MM)


def test_the_seat_says_what_a_millimetre_does_here_and_what_to_expect() -> None:
    act = _said(_seat(0.5))
    assert "low A by 6.0 ± 0.8 and high A by 20.0 ± 0.8 cents" in act.why
    assert "The octave is 13.0 cents narrow now." in act.why
    assert "low A +1.0 ± 0.6 c" in act.check
    assert "high A −1.2 ± 0.6 c" in act.check


def test_tape_only_lowers_and_never_covers_more_than_half() -> None:
    act = _said(_tape())
    assert "cover 1.5 mm of it from its upper edge" in act.say
    assert "Tape lowers one note, and never raises one." in act.why
    assert "half a hole is the most" in act.stop
    assert "D 7.5" not in act.say
    assert "7.5 ± 0.6 cents sharp" in act.why
    assert "D +1.0 ± 0.6 c" in act.check
    assert "should by then be" in _said(_tape(), measured=False).why


def test_tape_that_is_there_is_changed_and_not_put_on_twice() -> None:
    act = _said(_tape(Setting(tape_mm={"D": 0.8})))
    assert act.say == "Change the tape on the D hole: cover 1.5 mm from its upper edge, now 0.8 mm."


def test_a_strip_is_told_as_it_is_planned() -> None:
    assert [strip_said(mm) for mm in (1.75, 1.5, 2.0, 0.0)] == ["1.75 mm", "1.5 mm", "2.0 mm", "0.0 mm"]


def test_tape_on_low_a_is_explained_where_the_drones_follow_it() -> None:
    nothing = Deviation(cents=0.0, sd_cents=0.0, interval_cents=0.0)
    act = words(
        _one(Act.TAPE, _BARE, Setting(tape_mm={"low A": 1.0})),
        before={**_beam(_BEFORE), LOW_A: nothing},
        after={**_beam(_AFTER), LOW_A: nothing},
        per_mm=_PER_MM,
        hemp=Hemp(),
        measured=True,
    )
    assert "The drones follow low A" in act.why
    assert "sharp" not in act.why
    # It reads 0 whatever the strip does: it is the others that show it.
    assert act.check.startswith("Low A, then high A, E and C, at the strength you usually play.")
    assert "Predicted: high A −1.2 ± 0.6 c, E −0.5 ± 0.6 c, C 0.5 ± 0.6 c." in act.check.replace("+", "")
    assert act.stop.startswith("When high A stands there, even with less tape. If low A turns dull")
    # The control: on a fixed pitch it is a note like any other.
    own = _said(_one(Act.TAPE, _BARE, Setting(tape_mm={"low A": 1.0})))
    assert own.check.startswith("Low A at the strength")
    assert own.stop.startswith("When low A stands there, even with less tape. If low A turns dull")


def test_a_pinch_is_counted_and_cautioned() -> None:
    act = _said(_pinch())
    assert act.say.startswith("Pinch the reed once, lightly")
    assert "It counts: 3 are the most in a reed's life." in act.why
    assert "After one pinch" in act.stop
    cautions = " ".join(act.cautions)
    for words_of_care in (
        "binding",
        "whole life",
        "ruins it",
        "Moisten",
        "Never blow harder",
        "never with a",
    ):
        assert words_of_care in cautions


def test_tape_comes_off_with_its_residue_and_without_harm() -> None:
    act = _said(working_order(Setting(tape_mm={"B": 1.0}), _BARE)[0])
    assert "residue" in act.say
    assert "bare chanter" in act.why
    assert any("solvent" in caution and "blade" in caution for caution in act.cautions)


def test_tape_that_makes_its_note_flat_comes_off_for_that() -> None:
    """The control is the test above: B is sharp there."""
    act = _said(working_order(Setting(tape_mm={"F": 1.0, "E": 1.5}), _BARE)[0])
    assert (
        act.why
        == "E and F are flat with it, and tape never raises a note. A reed is judged on a bare chanter."
    )


def test_less_tape_is_told_as_less() -> None:
    act = _said(_one(Act.TAPE, Setting(tape_mm={"E": 2.0}), Setting(tape_mm={"E": 1.0})))
    assert act.say == "Change the tape on the E hole: cover 1.0 mm from its upper edge, now 2.0 mm."
    assert "E is 3.0 ± 0.6 cents flat. Less tape lets it up again." in act.why
    assert "even with more tape left on" in act.stop
    assert _faults(act) == []


def test_a_strip_among_others_comes_off_alone() -> None:
    taped = Setting(tape_mm={"B": 1.0, "D": 1.0})
    act = _said(_one(Act.TAPE_OFF, taped, Setting(tape_mm={"D": 1.0})))
    assert act.say == "Take the tape off the B hole."
    assert "B +1.0 ± 0.6 c" in act.check
