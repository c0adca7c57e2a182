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
from canebench.reeds.states import NOT_OFFERED, State

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.base.uncertain import Uncertain

#: A little above: the middle and the half-width of what is wanted above present strength, kPa (about 1 to 4
#: inches of water). Estimates of ours.
WANTED_KPA: Final = 0.6
_WIDTH_KPA: Final = 0.4
#: How far a reed's strength wanders in 30 days that nobody read it, kPa: an estimate of ours. It adds in
#: squares, so that an old reading counts for less than a new one.
_WANDERS_KPA: Final = 0.2
_DAYS: Final = 30.0
#: Reeds whose scores lie closer than this are a tie.
_TIE: Final = 0.1
_TILT_CENTS: Final = 10.0
_REST_CENTS: Final = 10.0
_PITCH_CENTS: Final = 15.0
#: What has to be heard beside the octave before a word is said of balance.
_JUDGED_BY: Final = (E, C)
#: What comes next for a reed: fit it, grade it, wait until it has rested; "" for nothing, for this player.
Next = Literal["fit", "grade", "wait", ""]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """What is known of a reed; None for what is not.

    Attributes
    ----------
    number : str
        On its binding.
    state : State
        Where it stands; `state_reason` is why.
    pinches : int >= 0
        In its whole life.
    playing_kpa : Uncertain or None
        What it takes to play, kPa, as it was read `read_days` ago; `before` is "before the pinch" where it
        was eased since.
    owner : str or None
        Whose it is, where it is not the player's own nor nobody's.
    rests : str
        From whose mouth it rests and until when; empty where the player may have it.
    tilt_cents, pitch_cents : number or None
        Of the newest take since it was last eased: the octave beyond its target, and the height.
    rest_cents : number or None
        The largest of what stands off the beam, among the notes `heard` but for the two As.
    heard : tuple of str
        The notes of that take.
    """

    number: str
    state: State
    pinches: int
    playing_kpa: Uncertain | None
    state_reason: str | None = None
    read_days: float | None = None
    before: str | None = None
    owner: str | None = None
    rests: str = ""
    tilt_cents: float | None = None
    rest_cents: float | None = None
    pitch_cents: float | None = None
    heard: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A reed with its score (less is better; None where it has none), reasons, and what is missing.

    `offered` is False for a reed in a state that is offered to nobody: its verdict is that state. `then` is
    what comes next for a reed.
    """

    number: str
    score: float | None
    verdict: str
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    then: Next
    offered: bool = True
    tied_with: tuple[str, ...] = ()


def choose(candidates: Iterable[Candidate], *, blows_kpa: float, ceiling_kpa: float | None) -> list[Choice]:
    """All candidates, best first; those of unknown strength after them, those not offered last.

    A reed whose strength was read before it was eased, one of another player, one pinched past the most and
    one that rests from another's mouth come after all that are free of that, in this order.

    Parameters
    ----------
    candidates : iterable of Candidate
        The reeds to choose from.
    blows_kpa : number
        What the player blows now, kPa.
    ceiling_kpa : number or None
        What the player must not blow past, kPa: a reed above it is never recommended.

    Returns
    -------
    list of Choice
        One for each candidate, with its score (less is better), reasons, what is not known, and ties.
    """
    judged = [(_standing(one, ceiling_kpa), _judged(one, blows_kpa, ceiling_kpa)) for one in candidates]
    # Numbers as people count: 2 before 10.
    judged.sort(key=lambda pair: (pair[0], pair[1].score or 0.0, len(pair[1].number), pair[1].number))
    found: list[Choice] = []
    for _, alike in groupby(judged, key=lambda pair: pair[0]):
        found += _with_ties([choice for _, choice in alike])
    return found


def _standing(one: Candidate, ceiling_kpa: float | None) -> tuple[bool, ...]:
    """What puts a reed behind others however well it would suit, the weightiest first."""
    return (
        one.state in NOT_OFFERED,
        one.playing_kpa is None,
        _past(one, ceiling_kpa),
        one.before is not None,
        one.owner is not None,
        one.pinches > eases.MOST,
        bool(one.rests),
    )


def _past(one: Candidate, ceiling_kpa: float | None) -> bool:
    return ceiling_kpa is not None and one.playing_kpa is not None and one.playing_kpa.value > ceiling_kpa


def _judged(one: Candidate, blows_kpa: float, ceiling_kpa: float | None) -> Choice:
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
    past, above = _past(one, ceiling_kpa), one.playing_kpa.value - blows_kpa
    reasons = [_strength_reason(one, above), *_balance_reasons(one), *_circumstances(one)]
    if past:
        reasons.append("above the ceiling you set: not for you now")
    verdict, then = _verdict(one, above, past=past)
    return Choice(
        number=one.number,
        score=math.inf if past else _score(one, one.playing_kpa, above),
        verdict=verdict,
        reasons=tuple(reasons),
        missing=missing,
        then=then,
    )


def _score(one: Candidate, playing: Uncertain, above: float) -> float:
    """What is expected to be off, in squares: of a strength that is unsure, its variance counts too."""
    # By whole days, as they are said: reeds that were read one after the other stay a tie.
    wandered = _WANDERS_KPA**2 * _whole_days(one.read_days or 0.0) / _DAYS
    score = ((above - WANTED_KPA) ** 2 + (playing.sd or 0.0) ** 2 + wandered) / _WIDTH_KPA**2
    # The last pinch of a life weighs as much as a strength that is off by its half-width.
    score += (one.pinches / eases.MOST) ** 2
    for value, width in (
        (one.tilt_cents, _TILT_CENTS),
        (one.rest_cents, _REST_CENTS),
        (one.pitch_cents, _PITCH_CENTS),
    ):
        score += 0.0 if value is None else (value / width) ** 2
    return score


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
    whole = _whole_days(days)
    return "read today" if whole == 0 else f"read {whole} {'day' if whole == 1 else 'days'} ago"


def _whole_days(days: float) -> int:
    return max(0, int(days))


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
    if above < WANTED_KPA - 1.5 * _WIDTH_KPA:
        said = "too easy: it will be weak when broken in"
    elif above > WANTED_KPA + 1.5 * _WIDTH_KPA:
        said = "leave for later, or ease it" if eases.left(one.pinches) else "leave for later"
    elif one.pinches > eases.MOST:
        said = "only if no other will do"
    else:
        said = "suits now"
    return (f"{said}, once it has rested", "wait") if one.rests else (said, "fit")


def _with_ties(alike: list[Choice]) -> list[Choice]:
    """Reeds of one standing, in order, each with those whose score is as good."""
    scores = [one.score for one in alike if one.score is not None and math.isfinite(one.score)]
    if len(scores) < len(alike):
        return alike
    found = []
    for place, one in enumerate(alike):
        first = bisect_right(scores, scores[place] - _TIE)
        last = bisect_left(scores, scores[place] + _TIE)
        found.append(replace(one, tied_with=tuple(alike[i].number for i in range(first, last) if i != place)))
    return found
