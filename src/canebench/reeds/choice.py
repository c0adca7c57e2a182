"""Which reeds suit a player now: a little above present strength, in balance, near the pitch wanted.

A new reed should be slightly stronger than what the player blows, since strength falls while it is broken in
(common practice, no source). Guarded by `tests/practice/test_choice.py`.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.base.uncertain import Uncertain

#: A little above: the middle and the half-width of what is wanted above present strength, kPa (about 1 to 4
#: inches of water). Estimates of ours.
WANTED_KPA: Final = 0.6
_WIDTH_KPA: Final = 0.4
#: Reeds whose scores lie closer than this are a tie.
_TIE: Final = 0.1
_TILT_CENTS: Final = 10.0
_REST_CENTS: Final = 10.0
_PITCH_CENTS: Final = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """What is known of a reed; None for what is not."""

    number: str
    playing_kpa: Uncertain | None
    tilt_cents: float | None = None
    worst_rest_cents: float | None = None
    pitch_cents: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A reed with its score (less is better; None without a strength), reasons, and what is missing."""

    number: str
    score: float | None
    verdict: str
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    tied_with: tuple[str, ...] = ()


def choose(candidates: Iterable[Candidate], *, blows_kpa: float, ceiling_kpa: float | None) -> list[Choice]:
    """All candidates, best first; those of unknown strength last.

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
    found = [_judged(one, blows_kpa, ceiling_kpa) for one in candidates]
    found.sort(key=lambda one: (one.score is None, one.score or 0.0, one.number))
    # Finite scores come first, in order: ties are neighbours.
    scores = [one.score for one in found if one.score is not None and math.isfinite(one.score)]
    return [_with_ties(place, found, scores) for place in range(len(found))]


def _judged(one: Candidate, blows_kpa: float, ceiling_kpa: float | None) -> Choice:
    missing = tuple(
        name
        for name, value in (
            ("strength", one.playing_kpa),
            ("balance", one.tilt_cents),
            ("pitch", one.pitch_cents),
        )
        if value is None
    )
    if one.playing_kpa is None:
        return Choice(number=one.number, score=None, verdict="grade it first", reasons=(), missing=missing)
    above = one.playing_kpa.value - blows_kpa
    reasons = [_strength_reason(above)]
    score = ((above - WANTED_KPA) / _WIDTH_KPA) ** 2
    for value, width, name in (
        (one.tilt_cents, _TILT_CENTS, "octave"),
        (one.worst_rest_cents, _REST_CENTS, "balance"),
        (one.pitch_cents, _PITCH_CENTS, "pitch"),
    ):
        if value is not None:
            score += (value / width) ** 2
            reasons.append(f"{name} {abs(value):.0f} cents off" if abs(value) >= 1 else f"{name} right")
    if ceiling_kpa is not None and one.playing_kpa.value > ceiling_kpa:
        reasons.append("above the ceiling you set: not for you now")
        verdict = "leave for another"
    else:
        verdict = _verdict(above)
    return Choice(
        number=one.number,
        score=math.inf if verdict == "leave for another" else score,
        verdict=verdict,
        reasons=tuple(reasons),
        missing=missing,
    )


def _strength_reason(above: float) -> str:
    if abs(above) < 0.05:
        return "as strong as you blow now"
    return f"{abs(above):.1f} kPa {'above' if above > 0 else 'below'} what you blow now"


def _verdict(above: float) -> str:
    if above < WANTED_KPA - 1.5 * _WIDTH_KPA:
        return "too easy: it will be weak when broken in"
    if above > WANTED_KPA + 1.5 * _WIDTH_KPA:
        return "leave for later, or ease it"
    return "suits now"


def _with_ties(place: int, found: list[Choice], scores: list[float]) -> Choice:
    one = found[place]
    if place >= len(scores):
        return one
    first, last = bisect_right(scores, scores[place] - _TIE), bisect_left(scores, scores[place] + _TIE)
    return replace(one, tied_with=tuple(found[i].number for i in range(first, last) if i != place))
