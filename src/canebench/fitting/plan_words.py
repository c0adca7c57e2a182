"""The words of a planned act: how much, why, what to expect, when to stop.

Guarded by `tests/practice/test_plan_words.py` and `tests/practice/test_situations.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.fingering import HOLES, notes_through
from canebench.base.notes import HIGH_A, LOW_A, C, E
from canebench.base.sentences import capitalized, listed
from canebench.base.setting import strip_said
from canebench.base.uncertain import Uncertain, number
from canebench.fitting.acts import HANDLING, STEP_MM, Act, NextAct, amount_of
from canebench.fitting.balance import octave_of
from canebench.fitting.limits import MOST_PINCHES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from canebench.fitting.balance import Deviation
    from canebench.fitting.hemp import Hemp
    from canebench.fitting.working_order import Move

_NOTHING: Final = 0.005
_STRENGTH: Final = "at the strength you usually play"
#: What a pinch risks. The usual cautions of the trade (common practice, no source).
PINCH_CAUTIONS: Final = (
    "Once is normal, two or three times in a reed's whole life the most; more ruins it.",
    "Moisten the tips a little first: dry cane splits. Between finger and thumb, never with a tool.",
    "Never blow harder to make up for a reed: if it is too strong for you, leave it for later.",
)


def words(
    move: Move,
    *,
    before: Mapping[str, Deviation],
    after: Mapping[str, Deviation],
    per_mm: Mapping[str, Uncertain],
    hemp: Hemp,
    measured: bool,
) -> NextAct:
    """One planned act in words.

    Parameters
    ----------
    move : Move
        The act, with the settings before and after it.
    before, after : mapping of note to Deviation
        The beam as it is and as it is predicted after the act.
    per_mm : mapping of note to Uncertain
        Cents for one millimetre of deeper seat, here.
    hemp : Hemp
        Thread and seat.
    measured : bool
        Whether `before` was heard, or is itself only expected of the acts before this one.

    Returns
    -------
    NextAct
        What to do, why, how to check it and when to stop.
    """
    if move.act is Act.SEAT_DEEPER or move.act is Act.RAISE_WITH_HEMP:
        return _seat(move, before, after, per_mm, hemp)
    if move.act is Act.TAPE:
        return _tape(move, before, after, measured=measured)
    if move.act is Act.TAPE_OFF:
        return _tape_off(move, before, after)
    return _pinch(before, after)


def _seat(
    move: Move,
    before: Mapping[str, Deviation],
    after: Mapping[str, Deviation],
    per_mm: Mapping[str, Uncertain],
    hemp: Hemp,
) -> NextAct:
    travel = abs(move.seat_mm)
    moves = "" if travel <= STEP_MM + 1e-9 else f", in moves of at most {STEP_MM:g} mm"
    deeper = move.act is Act.SEAT_DEEPER
    if deeper:
        say = (
            f"Seat the reed {travel:g} mm deeper{moves}. "
            f"Where it will not go by hand, take hemp off: {hemp.text(travel)}."
        )
    else:
        say = f"Raise the reed by {travel:g} mm{moves}: wind on {hemp.text(travel)}."
        if hemp.inches_per_mm is None:
            say += " That is an estimate: what a turn really did, the next take tells."
    rates = " and ".join(
        f"{note} by {amount_of(per_mm[note]).removesuffix(' cents')}" for note in (LOW_A, HIGH_A)
    )
    back = "raise it by half" if deeper else "take half of the new hemp off"
    hand = "sharp" if deeper else "flat"
    return NextAct(
        act=move.act,
        say=say,
        why=f"{_octave_now(before)} Here a millimetre of seat moves {rates} cents.",
        check=f"Low A, then high A, {_STRENGTH}. Predicted: {_listed((LOW_A, HIGH_A), after)}.",
        stop=(
            f"When high A stands there, even if that is short of {travel:g} mm. If the top hand turns "
            f"{hand}, {back}. A reed that is down on the bottom of its seat must not be forced, and one "
            "that no longer sits firm and airtight has been raised too far."
        ),
        cautions=(HANDLING[0],),
    )


def _tape(
    move: Move, before: Mapping[str, Deviation], after: Mapping[str, Deviation], *, measured: bool
) -> NextAct:
    hole = str(move.hole)
    had, wanted = move.tape_mm()
    others = [note for note in notes_through(hole) if note != hole and note in after]
    moved = [note for note in others if abs(after[note].cents - before[note].cents) >= 0.5]
    also = f" It moves {listed(moved)} a little too." if moved else ""
    how = (
        f"Tape the {hole} hole: cover {strip_said(wanted)} of it from its upper edge."
        if had == 0
        else f"Change the tape on the {hole} hole: cover {strip_said(wanted)} from its upper edge, "
        f"now {strip_said(had)}."
    )
    played, looked_at, where = hole, [hole, *moved], hole
    if hole in before and _is_reference(before[hole]):
        # It reads 0 whatever the strip does: what shows the strip are the notes counted from it.
        sharp = f"The drones follow {hole}: taping it brings the other notes up against it."
        also = ""
        looked_at, where = [note for note in (HIGH_A, E, C) if note in after], HIGH_A
        played = f"{hole}, then {listed(looked_at)},"
    else:
        is_now = "is" if measured else "should by then be"
        sharp = f"{hole} {is_now} {_said(before, hole)}." if hole in before else f"{hole} was not heard."
    lowers = "Tape lowers one note, and never raises one." if wanted > had else "Less tape lets it up again."
    more_or_less = "even with less tape" if wanted > had else "even with more tape left on"
    return NextAct(
        act=Act.TAPE,
        say=how,
        why=f"{capitalized(sharp)} {lowers}{also}",
        check=f"{capitalized(played)} {_STRENGTH}. Predicted: {_listed(looked_at, after)}.",
        stop=(
            f"When {where} stands there, {more_or_less}. If {hole} turns dull, take some off; "
            "half a hole is the most."
        ),
        cautions=("Old tape and its residue off first, or the strip will creep.",),
    )


def _tape_off(move: Move, before: Mapping[str, Deviation], after: Mapping[str, Deviation]) -> NextAct:
    if move.hole is None:
        taped = [hole for hole in reversed(HOLES) if hole in move.before.tape_mm]
        flat = all(hole in before and before[hole].cents < 0 for hole in taped)
        return NextAct(
            act=Act.TAPE_OFF,
            say="Take all tape off the chanter, and its residue too.",
            why=(
                f"{capitalized(listed(taped))} {'is' if len(taped) == 1 else 'are'} flat with it, and tape "
                "never raises a note. A reed is judged on a bare chanter."
                if flat
                else "A reed is judged on a bare chanter: old tape hides what the reed does."
            ),
            check=f"A slow scale {_STRENGTH}. Predicted: {_listed([LOW_A, C, E, HIGH_A], after)}.",
            stop="When every hole is clean; a fingernail and a dry cloth are enough.",
            cautions=("No solvent near the reed, and no blade against the wood.",),
        )
    return NextAct(
        act=Act.TAPE_OFF,
        say=f"Take the tape off the {move.hole} hole.",
        why=f"With this setting {move.hole} needs none.",
        check=f"{capitalized(move.hole)} {_STRENGTH}. Predicted: {_listed([move.hole], after)}.",
        stop="When the hole and its edge are clean.",
    )


def _pinch(before: Mapping[str, Deviation], after: Mapping[str, Deviation]) -> NextAct:
    return NextAct(
        act=Act.PINCH,
        say="Pinch the reed once, lightly, at the belly of the blades.",
        why=(
            f"{_octave_now(before)} The seat alone does not reach it; a pinch eases the reed and sharpens "
            f"the top hand a little. It counts: {MOST_PINCHES} are the most in a reed's life."
        ),
        check=f"Low A, then high A, {_STRENGTH}. Predicted: {_listed((LOW_A, HIGH_A), after)}.",
        stop="After one pinch: measure, and plan again. What one pinch does differs from reed to reed.",
        cautions=(HANDLING[0], *PINCH_CAUTIONS),
    )


def _octave_now(before: Mapping[str, Deviation]) -> str:
    if LOW_A not in before or HIGH_A not in before:
        return ""
    tilt, _ = octave_of(before)
    return f"The octave is {number(abs(tilt), 1)} cents {'narrow' if tilt < 0 else 'wide'} now."


def _listed(notes: Iterable[str], beam: Mapping[str, Deviation]) -> str:
    return ", ".join(f"{note} {_value(beam[note])}" for note in notes if note in beam)


def _value(deviation: Deviation) -> str:
    if _is_reference(deviation):
        return "0 (the drones follow it)"
    return Uncertain(value=deviation.cents, sd=deviation.sd_cents).text("c", signed=True)


def _is_reference(deviation: Deviation) -> bool:
    """Whether deviations are counted from this very note."""
    return abs(deviation.cents) < _NOTHING and deviation.sd_cents < _NOTHING


def _said(beam: Mapping[str, Deviation], note: str) -> str:
    value = beam[note]
    side = "sharp" if value.cents > 0 else "flat"
    return f"{amount_of(Uncertain(value=value.cents, sd=value.sd_cents))} {side}"
