"""Where a reed stands among others for a player: what puts it behind, and its score.

Guarded by `tests/practice/test_choice.py` and `tests/store/test_choice_by_hand.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from canebench.reeds import eases
from canebench.reeds.states import NOT_OFFERED, State

if TYPE_CHECKING:
    from canebench.base.uncertain import Uncertain

#: A little above: the middle and the half-width of what is wanted above present strength, kPa (about 1 to 4
#: inches of water). Estimates of ours.
WANTED_KPA: Final = 0.6
WIDTH_KPA: Final = 0.4
#: How far a reed's strength wanders in 30 days that nobody read it, kPa: an estimate of ours. It adds in
#: squares, so that an old reading counts for less than a new one.
_WANDERS_KPA: Final = 0.2
_DAYS: Final = 30.0
#: Reeds whose scores lie closer than this are a tie.
TIE: Final = 0.1
_TILT_CENTS: Final = 10.0
_REST_CENTS: Final = 10.0
_PITCH_CENTS: Final = 15.0


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


class Rank(NamedTuple):
    """Where a reed stands among others: the least first.

    `standing` puts a reed behind others however well it would suit, the weightiest first; of one standing the
    least `score` is first, infinite past the ceiling, 0 for one that has none. Then numbers as people count:
    2 before 10, by their `length`.
    """

    standing: tuple[bool, ...]
    score: float
    length: int
    number: str


def rank(one: Candidate, *, blows_kpa: float, ceiling_kpa: float | None) -> Rank:
    """Where a reed stands, without its words.

    What a take tells only adds to a score: of a candidate without it this is where the reed stands at best.
    Guarded by `tests/store/test_choice_by_hand.py`.

    Parameters
    ----------
    one : Candidate
        The reed.
    blows_kpa, ceiling_kpa : number
        What the player blows now, and must not blow past (None for no ceiling), kPa.

    Returns
    -------
    Rank
        The least comes first.
    """
    past = is_past(one, ceiling_kpa)
    standing = (
        one.state in NOT_OFFERED,
        one.playing_kpa is None,
        past,
        one.before is not None,
        one.owner is not None,
        one.pinches > eases.MOST,
        bool(one.rests),
    )
    score = 0.0
    if has_score(standing):
        score = math.inf if past else _score(one, blows_kpa)
    return Rank(standing, score, len(one.number), one.number)


def has_score(standing: tuple[bool, ...]) -> bool:
    """Whether reeds of that standing have one: they are offered, and their strength is known."""
    return not any(standing[:2])


def ties(first: Rank, other: Rank) -> bool:
    """Whether the reed of the greater rank is as good as the first."""
    alike = first.standing == other.standing and has_score(first.standing)
    return alike and other.score < first.score + TIE


def is_past(one: Candidate, ceiling_kpa: float | None) -> bool:
    """Whether a reed takes more than the player must blow."""
    return ceiling_kpa is not None and one.playing_kpa is not None and one.playing_kpa.value > ceiling_kpa


def strength_score(playing_kpa: Uncertain, read_days: float, *, blows_kpa: float) -> float:
    """The part of a score that strength alone tells: the rest only adds to it.

    Guarded by `tests/store/test_choice_by_hand.py`.

    Parameters
    ----------
    playing_kpa, read_days : Uncertain and number
        What the reed takes to play, kPa, and how many days ago that was read.
    blows_kpa : number
        What the player blows now, kPa.

    Returns
    -------
    float
        What is expected to be off, in squares: of a strength that is unsure, its variance counts too.
    """
    above = playing_kpa.value - blows_kpa
    # By whole days, as they are said: reeds that were read one after the other stay a tie.
    wandered = _WANDERS_KPA**2 * whole_days(read_days) / _DAYS
    return ((above - WANTED_KPA) ** 2 + (playing_kpa.sd or 0.0) ** 2 + wandered) / WIDTH_KPA**2


def _score(one: Candidate, blows_kpa: float) -> float:
    if one.playing_kpa is None:
        return 0.0
    score = strength_score(one.playing_kpa, one.read_days or 0.0, blows_kpa=blows_kpa)
    # The last pinch of a life weighs as much as a strength that is off by its half-width.
    score += (one.pinches / eases.MOST) ** 2
    for value, width in (
        (one.tilt_cents, _TILT_CENTS),
        (one.rest_cents, _REST_CENTS),
        (one.pitch_cents, _PITCH_CENTS),
    ):
        score += 0.0 if value is None else (value / width) ** 2
    return score


def whole_days(days: float) -> int:
    """Days as they are said; what lies ahead, by a clock that was put back, counts as now."""
    return max(0, int(days))
