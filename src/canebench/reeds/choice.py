"""Which reeds suit a player now: a little above present strength, in balance, near the pitch wanted.

A new reed should be slightly stronger than what the player blows, since strength falls while it is broken in
(common practice, no source). Guarded by `tests/practice/test_choice.py`.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.notes import NOTES, C, E
from canebench.reeds import eases
from canebench.reeds.ranking import (
    TIE,
    WANTED_KPA,
    WIDTH_KPA,
    Candidate,
    Rank,
    has_score,
    is_past,
    whole_days,
)
from canebench.reeds.states import NOT_OFFERED

if TYPE_CHECKING:
    from collections.abc import Sequence

#: What has to be heard beside the octave before a word is said of balance.
_JUDGED_BY: Final = (E, C)
#: What comes next for a reed: fit it, grade it, wait until it has rested; "" for nothing, for this player.
Next = Literal["fit", "grade", "wait", ""]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A reed with its score (less is better; None where it has none), reasons, and what is missing.

    `offered` is False for a reed in a state that is offered to nobody: its verdict is that state. `then` is
    what comes next for a reed. `ties` is how many reeds are as good, `tied_with` the first of them, or all.
    """

    number: str
    score: float | None
    verdict: str
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    then: Next
    offered: bool = True
    tied_with: tuple[str, ...] = ()
    ties: int = 0


def worded(
    ranked: Sequence[tuple[Rank, Candidate]],
    *,
    blows_kpa: float,
    ceiling_kpa: float | None,
    first: int | None = None,
    named: int | None = None,
) -> list[Choice]:
    """Verdict, reasons and ties of the first so many of these, in their order; of all where none is said.

    Guarded by `tests/store/test_choice_by_hand.py`.

    Parameters
    ----------
    ranked : pairs of Rank and Candidate
        In order, with all that may tie with the last that is worded.
    blows_kpa, ceiling_kpa : number
        What the player blows now, and must not blow past (None for no ceiling), kPa.
    first, named : int or None
        How many reeds are worded; how many of its ties are named to each.

    Returns
    -------
    list of Choice
        One for each that is worded.
    """
    found: list[Choice] = []
    for _, group in groupby(ranked, key=lambda pair: pair[0].standing):
        wanted = None if first is None else first - len(found)
        if wanted == 0:
            break
        alike = list(group)
        said = [_judged(one, place.score, blows_kpa, ceiling_kpa) for place, one in alike[:wanted]]
        found += _with_ties(said, [place for place, _ in alike], named)
    return found


def _judged(one: Candidate, score: float, blows_kpa: float, ceiling_kpa: float | None) -> Choice:
    if one.state in NOT_OFFERED:
        return Choice(
            number=one.number,
            score=None,
            verdict=one.state.value,
            reasons=() if not one.state_reason else (one.state_reason,),
            missing=(),
            then="",
            offered=False,
        )
    missing = tuple(_missing(one))
    if one.playing_kpa is None:
        return Choice(
            number=one.number,
            score=None,
            verdict="grade it first",
            reasons=tuple(_circumstances(one)),
            missing=missing,
            then="wait" if one.rests else "grade",
        )
    past, above = is_past(one, ceiling_kpa), one.playing_kpa.value - blows_kpa
    reasons = [_strength_reason(one, above), *_balance_reasons(one), *_circumstances(one)]
    if past:
        reasons.append("above the ceiling you set: not for you now")
    verdict, then = _verdict(one, above, past=past)
    return Choice(
        number=one.number,
        score=score,
        verdict=verdict,
        reasons=tuple(reasons),
        missing=missing,
        then=then,
    )


def _missing(one: Candidate) -> list[str]:
    """What is not known of a reed; of balance, which notes no take has heard as the reed is now."""
    found = ["strength"] if one.playing_kpa is None else []
    unheard = [note for note in NOTES if note not in one.heard]
    if one.tilt_cents is None:
        found.append("balance")
    elif unheard:
        found.append(f"balance at {', '.join(unheard)}")
    return found + (["pitch"] if one.pitch_cents is None else [])


def _strength_reason(one: Candidate, above: float) -> str:
    said = f"{abs(above):.1f} kPa {'above' if above > 0 else 'below'} what you blow now"
    if abs(above) < 0.05:
        said = "as strong as you blow now"
    when = [] if one.before is None else [one.before]
    when += [] if one.read_days is None else [age_said(one.read_days)]
    return f"{said} ({', '.join(when)})" if when else said


def age_said(days: float) -> str:
    """How long ago a reed was read.

    Parameters
    ----------
    days : number
        Since then; what lies ahead, by a clock that was put back, counts as now.

    Returns
    -------
    str
        "read today" within 24 h, else in whole days.
    """
    whole = whole_days(days)
    return "read today" if whole == 0 else f"read {whole} {'day' if whole == 1 else 'days'} ago"


def _balance_reasons(one: Candidate) -> list[str]:
    """Octave, balance and pitch, each from what was heard: balance is right only where all nine were."""
    found = []
    for value, name in ((one.tilt_cents, "octave"), (_balance(one), "balance"), (one.pitch_cents, "pitch")):
        if value is not None:
            found.append(f"{name} {_cents(abs(value))} off" if abs(value) >= 1 else f"{name} right")
    if one.rest_cents is not None and _balance(one) is None and _judgeable(one):
        found.append("balance right where it was heard")
    return found


def _cents(size: float) -> str:
    said = f"{size:.0f}"
    return f"{said} cent" if said == "1" else f"{said} cents"


def _judgeable(one: Candidate) -> bool:
    return one.tilt_cents is not None and all(note in one.heard for note in _JUDGED_BY)


def _balance(one: Candidate) -> float | None:
    """What stands off the beam, cents; None where that it is right cannot be told from what was heard."""
    if one.rest_cents is None or one.tilt_cents is None:
        return None
    return one.rest_cents if abs(one.rest_cents) >= 1 or all(note in one.heard for note in NOTES) else None


def _circumstances(one: Candidate) -> list[str]:
    found = [eases.left_said(one.pinches)]
    found += [f"belongs to {one.owner}"] if one.owner is not None else []
    return found + ([one.rests] if one.rests else [])


def _verdict(one: Candidate, above: float, *, past: bool) -> tuple[str, Next]:
    if past:
        return "leave for another", ""
    if one.before is not None:
        return f"grade it again: it was read {one.before}", "wait" if one.rests else "grade"
    if above < WANTED_KPA - 1.5 * WIDTH_KPA:
        said = "too easy: it will be weak when broken in"
    elif above > WANTED_KPA + 1.5 * WIDTH_KPA:
        said = "leave for later, or ease it" if eases.left(one.pinches) else "leave for later"
    elif one.pinches > eases.MOST:
        said = "only if no other will do"
    else:
        said = "suits now"
    return (f"{said}, once it has rested", "wait") if one.rests else (said, "fit")


def _with_ties(said: list[Choice], alike: Sequence[Rank], named: int | None) -> list[Choice]:
    """The first reeds of one standing, in order, each with those of all whose score is as good."""
    if not has_score(alike[0].standing) or math.isinf(alike[0].score):
        return said
    scores = [one.score for one in alike]
    found = []
    for place, one in enumerate(said):
        first = bisect_right(scores, scores[place] - TIE)
        last = bisect_left(scores, scores[place] + TIE)
        until = last if named is None else min(last, first + named + 1)
        others = [alike[i].number for i in range(first, until) if i != place]
        found.append(replace(one, tied_with=tuple(others[:named]), ties=last - first - 1))
    return found
