"""The ladder of sessions: short ones first, growing over about two weeks, a rest after each.

Common practice, no source; the minutes are an **estimate** of ours and are there to be changed. Guarded by
`tests/practice/test_ladder.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from canebench.base.errors import InputError
from canebench.base.parsing import number_from
from canebench.base.sizes import MINUS, POINT, Range

#: Minutes a session may have.
SESSION_MIN: Final = Range(
    low=1.0,
    high=120.0,
    usual=15.0,
    unit="min",
    slips=(MINUS, (60.0, "if that was hours"), (1 / 60, "if that was seconds"), POINT),
)
_REST: Final = Range(
    low=0.0,
    high=240.0,
    usual=20.0,
    unit="h",
    slips=(MINUS, (24.0, "if that was days"), (1 / 60, "if that was minutes")),
)
_MOST_RUNGS: Final = 200
#: By how much a session may be longer than the one before it, as a factor, before it is called a slip.
_LEAP: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """How long a reed's sessions are, one after the other; it checks itself.

    Attributes
    ----------
    minutes : tuple of float
        The first session, the second and so on, 1 to 120 min each, none shorter than the one before it; every
        session after them is as long as the last.
    rest_h : float
        How long a reed rests after each, 0 to 240 h.
    marked : str
        Where the numbers come from, as it is said beside them.

    Raises
    ------
    InputError
        Outside these, with the rung. Guarded by `tests/faults/test_bad_plans.py`.
    """

    minutes: tuple[float, ...] = (5, 5, 5, 8, 8, 10, 10, 12, 12, 15, 15, 15, 20, 20)
    rest_h: float = 20.0
    marked: str = "short sessions that grow: common practice, no source; these minutes: an estimate"

    def __post_init__(self) -> None:
        if not 1 <= len(self.minutes) <= _MOST_RUNGS:
            raise InputError(
                field="ladder",
                given=f"{len(self.minutes)} sessions",
                allowed=f"from 1 to {_MOST_RUNGS} are needed; those after the last are as long as it",
            )
        for rung, length in enumerate(self.minutes, start=1):
            SESSION_MIN.check(f"session {rung} of the ladder", length)
        for rung, (before, after) in enumerate(zip(self.minutes, self.minutes[1:], strict=False), start=2):
            if not before <= after <= _LEAP * before:
                raise InputError(
                    field=f"session {rung} of the ladder",
                    given=f"{after:g} min after {before:g} min",
                    allowed=f"as long as the one before it, or longer, up to {_LEAP:g} times",
                    nearest=f"{before if after < before else _LEAP * before:g} min",
                )
        _REST.check("rest after a session", self.rest_h)

    def length_min(self, had: int) -> float:
        """How long the next session is for a reed that has had so many, min."""
        return self.minutes[min(had, len(self.minutes) - 1)]

    def lengths(self, had: int, needed_min: float, *, most_min: float) -> tuple[float, ...]:
        """The sessions that a reed still needs.

        Parameters
        ----------
        had : int >= 0
            Sessions it has had.
        needed_min : float >= 0
            Minutes it still needs.
        most_min : float
            No session longer than this, min: what its player has on the longest day.

        Returns
        -------
        tuple of float
            Their lengths, min, none above the ladder; together at least what it needs, and one session less
            would not be enough. Guarded by `tests/practice/test_ladder.py`.
        """
        found: list[float] = []
        played = 0.0
        while played < needed_min:
            found.append(min(self.length_min(had + len(found)), most_min))
            played += found[-1]
        return tuple(found)


#: As it stands unless another is given.
USUAL_LADDER: Final = Ladder()


def ladder_from(
    minutes: str = "",
    rest_h: str = "",
    *,
    usual: Ladder = USUAL_LADDER,
    marked: str = "as told for this plan",
) -> Ladder:
    """A ladder as it is typed; what is left empty is as usual.

    Parameters
    ----------
    minutes : str
        Of each session, with commas or blanks between: "5, 5, 8, 10".
    rest_h : str
        Hours that a reed rests after each.
    usual : Ladder
        What holds where nothing is told.
    marked : str
        Where what is told comes from.

    Returns
    -------
    Ladder
        The usual one where nothing is told.

    Raises
    ------
    InputError
        As `Ladder` does, and for what is no number. Guarded by `tests/practice/test_ladder.py`.
    """
    if not minutes.strip() and not rest_h.strip():
        return usual
    typed = minutes.replace(",", " ").split()
    return Ladder(
        minutes=tuple(
            number_from(one, f"session {rung} of the ladder") for rung, one in enumerate(typed, start=1)
        )
        or usual.minutes,
        rest_h=number_from(rest_h, "rest after a session") if rest_h.strip() else usual.rest_h,
        marked=marked,
    )
