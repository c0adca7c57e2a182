"""Height, tilt and what is left: nine deviations seen as one straight beam through the two As.

With d the deviation in cents: height = (d[low A] + d[high A]) / 2, tilt = d[high A] - d[low A], and
rest[n] = d[n] - the beam at n, the beam being straight on a log-frequency axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.notes import HIGH_A, LOW_A, NOTES
from canebench.base.uncertain import Uncertain

if TYPE_CHECKING:
    from collections.abc import Mapping

#: The two posts that the beam lies on.
POSTS: Final = (LOW_A, HIGH_A)


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """How far one note is from its target.

    Attributes
    ----------
    cents : number
        Deviation from the target, cents above the reference's scale.
    sd_cents : number >= 0
        The note's own standard uncertainty, without the reference's: that one is common to all notes.
        Infinite where it could not be estimated.
    interval_cents : number
        The target's interval above low A, cents: the note's place along the beam.
    """

    cents: float
    sd_cents: float
    interval_cents: float

    def __post_init__(self) -> None:
        for name in ("cents", "interval_cents"):
            value = getattr(self, name)
            if not math.isfinite(value):
                raise InputError(field=name, given=repr(value), allowed="a finite number of cents is needed")
        if not self.sd_cents >= 0:
            raise InputError(
                field="sd_cents", given=f"{self.sd_cents:g}", allowed="0 cents or more is needed"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """The beam: `height_cents`, `tilt_cents` and `rest_cents` by note, each with its uncertainty.

    `rest_cents` holds the notes that were played; that of the two As is 0 because the beam lies on them.
    """

    height_cents: Uncertain
    tilt_cents: Uncertain
    rest_cents: Mapping[str, Uncertain]


def missing_posts(deviations: Mapping[str, Deviation]) -> tuple[str, ...]:
    """Which of low A and high A were not played; the beam needs both."""
    return tuple(note for note in POSTS if note not in deviations)


def balance_of(deviations: Mapping[str, Deviation], *, reference_sd_cents: float) -> Balance | None:
    """Lay the beam through low A and high A.

    Parameters
    ----------
    deviations : mapping of note name to Deviation
        The notes that were played.
    reference_sd_cents : number >= 0
        Standard uncertainty of the reference in cents. It moves all notes together, so it enters the
        height alone. Give 0 where low A itself is the reference: its uncertainty is already low A's own.

    Returns
    -------
    Balance or None
        None where low A or high A is missing (`missing_posts` says which).

    Raises
    ------
    UnknownNameError
        A name that is none of the nine notes.

    Notes
    -----
    Uncertainties are propagated to first order from independent notes; a linear function sum(w d) has
    the variance sum(w**2 sd**2). Guarded by `tests/invariants/test_balance.py`.
    """
    for note in deviations:
        if note not in NOTES:
            raise UnknownNameError(field="note", given=note, known=NOTES)
    if missing_posts(deviations):
        return None
    low, high = deviations[LOW_A], deviations[HIGH_A]
    tilt, sd = octave_of(deviations)
    return Balance(
        height_cents=Uncertain(value=(low.cents + high.cents) / 2, sd=math.hypot(sd / 2, reference_sd_cents)),
        tilt_cents=Uncertain(value=tilt, sd=sd),
        rest_cents={note: _rest(note, deviations) for note in NOTES if note in deviations},
    )


def octave_of(deviations: Mapping[str, Deviation]) -> tuple[float, float]:
    """How wide the octave from low A to high A is beyond its target, and how unsure that is.

    Parameters
    ----------
    deviations : mapping of note name to Deviation
        With both As.

    Returns
    -------
    number, number
        Cents, narrow below 0, and their standard uncertainty.
    """
    low, high = deviations[LOW_A], deviations[HIGH_A]
    return high.cents - low.cents, math.hypot(low.sd_cents, high.sd_cents)


def _rest(note: str, deviations: Mapping[str, Deviation]) -> Uncertain:
    """What the note stands above the beam, with the beam's own uncertainty at that place."""
    if note in POSTS:
        return Uncertain(value=0.0, sd=0.0)
    here, low, high = deviations[note], deviations[LOW_A], deviations[HIGH_A]
    along = here.interval_cents / high.interval_cents
    beam = low.cents + along * (high.cents - low.cents)
    sd = math.hypot(here.sd_cents, (1 - along) * low.sd_cents, along * high.sd_cents)
    return Uncertain(value=here.cents - beam, sd=sd)
