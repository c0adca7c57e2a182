"""Whether intervals hold as often as they say: of stated chances, the share of readings that fell inside.

Guarded by `tests/published/test_newcombe.py` and `tests/analytic/test_reliability.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, said
from canebench.reeds.lots.shares import Interval, share

if TYPE_CHECKING:
    from collections.abc import Sequence

#: The central intervals that are looked at, per cent: a tenth to nine tenths, and the widest that is told.
LEVELS: Final = (10, 20, 30, 40, 50, 60, 70, 80, 90, 95)
#: How sure it is that a share lies where it is said to.
SURE: Final = 0.95
#: Fewer readings tell nothing: they may all be of one evening. Nor does a share whose interval is wider than
#: this: some 30 readings are enough at 80 %, some 40 at a half. Estimates of ours.
_LEAST: Final = 10
_TOO_WIDE: Final = 0.3


class Bearing(StrEnum):
    """What the readings say of an interval."""

    AS_SAID = "as said"
    TOO_NARROW = "too narrow"
    TOO_WIDE = "too wide"
    TOO_FEW = "too few to tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelHeld:
    """How often one interval held what was read.

    Attributes
    ----------
    stated : int
        What was said of it, per cent.
    inside, of : int
        Readings that fell inside, and all of them.
    share : Interval
        The share of such readings that do, `SURE` of it.
    bears_out : Bearing
        Too narrow or too wide only where `share` leaves out what was stated.
    """

    stated: int
    inside: int
    of: int
    share: Interval
    bears_out: Bearing


def reliability(places: Sequence[float]) -> tuple[LevelHeld, ...]:
    """Of central intervals from narrow to wide, how many held.

    Parameters
    ----------
    places : sequence of float
        Where in its forecast's distribution each reading fell, 0 to 1: the chance that was given to less.

    Returns
    -------
    tuple of LevelHeld
        One for each of `LEVELS`. Intervals are Wilson's (1927), as if no reading told of another.

    Raises
    ------
    InputError
        A place that is none.
    """
    for place in places:
        if not is_finite(place) or not 0.0 <= place <= 1.0:
            raise InputError(field="place in a forecast", given=said(place), allowed="from 0 to 1")
    of = len(places)
    found = []
    for stated in LEVELS:
        inside = sum(abs(place - 0.5) <= stated / 200.0 for place in places)
        lies = share(inside, of, covers=SURE)
        bears_out = _bearing(stated, of, lies)
        found.append(LevelHeld(stated=stated, inside=inside, of=of, share=lies, bears_out=bears_out))
    return tuple(found)


def _bearing(stated: int, of: int, lies: Interval) -> Bearing:
    low, high = lies.low or 0.0, lies.high or 0.0
    if of < _LEAST:
        return Bearing.TOO_FEW
    if high < stated / 100.0:
        return Bearing.TOO_NARROW
    if low > stated / 100.0:
        return Bearing.TOO_WIDE
    return Bearing.TOO_FEW if high - low > _TOO_WIDE else Bearing.AS_SAID
