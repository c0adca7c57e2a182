"""What each rule allows: the seat only the way that the newest take asks for, tape only on the sharp.

Common practice, no source, but for the sizes, which are estimates of ours. Guarded by
`tests/practice/test_rule_bounds.py`, `tests/practice/test_rule_limits.py` and
`tests/practice/test_bound_edges.py`.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import LOW_A, LOW_G
from canebench.fitting.acts import Act
from canebench.fitting.balance import balance_of, octave_of
from canebench.fitting.limits import HIGHEST_MM
from canebench.fitting.sizing import Allowed
from canebench.fitting.tolerance import TOLERANCE_CENTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.setting import Setting
    from canebench.fitting.balance import Deviation
    from canebench.fitting.limits import Limits

#: The acts that move the seat, and which way: 1 is deeper.
SEAT_WAYS: Final[Mapping[Act, int]] = MappingProxyType({Act.SEAT_DEEPER: 1, Act.RAISE_WITH_HEMP: -1})
#: More acts than this in one go nobody follows, and the first of them teaches what the rest should be.
MOST_ACTS: Final = 4
#: No seat move is told that is smaller than this: hands miss by nearly half of it.
LEAST_SEAT_MM: Final = 0.25
#: The last seat move is taken back only where the newest octave shows it by so many standard uncertainties.
_REVERSAL_SD: Final = 3.0
#: Low A is sharp against the others where half of them lie further than this below it; the least tolerance.
_MOSTLY_FLAT_CENTS: Final = 2.0
#: A note is sharp enough for tape where it is out of tolerance; beside a move of the seat from here on.
_SHARP_CENTS: Final = 2.0
#: An octave further out than this is the seat's to mend, before any tape.
_CLEAR_CENTS: Final = 8.0


def bounds_of(
    rule: Act,
    newest: Mapping[str, Deviation],
    *,
    present: Setting,
    earlier: Setting | None,
    limits: Limits,
    deepest_mm: float,
    hole_mm: Sequence[float],
    follow_low_a: bool,
) -> Allowed:
    """The settings among which the act's size is sought.

    Parameters
    ----------
    rule : Act
        What the rules ask for.
    newest : mapping of note to Deviation
        The newest take; a note that is not in it gets no tape.
    present, earlier : Setting
        The setting of the newest take and of the one before it, None for a first.
    limits : Limits
        How far the plan may go.
    deepest_mm : number
        Where the seat has its bottom, mm deeper than the zero point.
    hole_mm : sequence of 8 numbers
        Diameters of the holes from the reed down.
    follow_low_a : bool
        Whether the drones follow low A.

    Returns
    -------
    Allowed
        No seat but the present one where the octave asks for none.
    """
    tilt, tilt_sd = octave_of(newest)
    by_rule = rule in SEAT_WAYS
    way = SEAT_WAYS[rule] if by_rule else _way(tilt, tilt_sd)
    back = earlier is not None and (present.seat_mm - earlier.seat_mm) * way < 0
    if back and abs(tilt) < _REVERSAL_SD * tilt_sd:
        way = 0
    strips = len(present.tape_mm)
    middle = _middle(newest) if follow_low_a else 0.0
    # Where the seat moves, what is a little sharp now may be more so after it.
    least = {hole: _SHARP_CENTS if by_rule else TOLERANCE_CENTS[hole] for hole in HOLES}
    grow = [
        hole
        for hole in HOLES
        if hole in newest
        and newest[hole].cents > middle + least[hole]
        and (hole in present.tape_mm or strips < limits.most_strips)
    ]
    seats_mm = _seats(way, present, limits, deepest_mm)
    if by_rule and not seats_mm and abs(tilt) > _CLEAR_CENTS:
        # No tape before the octave: where the seat cannot mend it, strips would only hide it.
        grow = []
    return Allowed(
        seats_mm=seats_mm,
        must_move=by_rule and bool(seats_mm) and abs(tilt) > _CLEAR_CENTS,
        grow=grow,
        shrink=[
            hole for hole in present.tape_mm if hole in newest and newest[hole].cents < middle - least[hole]
        ],
        tape_most_mm=np.array(hole_mm) * limits.tape_share,
        most_acts=MOST_ACTS,
    )


def tape_alone(
    allowed: Allowed, newest: Mapping[str, Deviation], tolerance_cents: Mapping[str, float]
) -> Allowed:
    """The same without the seat, where every move of it costs more than it gains.

    Parameters
    ----------
    allowed : Allowed
        With moves of the seat, none of which gained.
    newest : mapping of note to Deviation
        The newest take, with both As.
    tolerance_cents : mapping of note to number
        How far off each note may be, cents > 0.

    Returns
    -------
    Allowed
        Strips grow on notes alone that are sharp of their target and stand above the beam as well: whatever
        becomes of the octave, they are the sharp ones.
    """
    balance = balance_of(newest, reference_sd_cents=0.0)
    assert balance is not None  # noqa: S101 - for the type checker: a plan has both As
    above = balance.rest_cents
    sharp = [
        hole for hole in allowed.grow if min(newest[hole].cents, above[hole].value) > tolerance_cents[hole]
    ]
    return replace(allowed, seats_mm=(), must_move=False, grow=sharp)


def _middle(newest: Mapping[str, Deviation]) -> float:
    """What counts as neither sharp nor flat, cents above low A, where the drones follow that note.

    Low A is one of nine notes, and where most lie below it, it is the sharp one. One flat note makes it none.
    """
    usual = float(np.median([one.cents for note, one in newest.items() if note not in (LOW_A, LOW_G)]))
    return usual / 2 if usual < -_MOSTLY_FLAT_CENTS else 0.0


def _seats(way: int, present: Setting, limits: Limits, deepest_mm: float) -> list[float]:
    if way == 0:
        return []
    step = max(limits.step_mm, LEAST_SEAT_MM)
    end_mm, most_mm = (deepest_mm, limits.deeper_mm) if way == 1 else (-HIGHEST_MM, limits.higher_mm)
    room = min(most_mm, way * (end_mm - present.seat_mm))
    return [present.seat_mm + way * step * count for count in range(1, int(room / step + 1e-9) + 1)]


def _way(tilt: float, sd: float) -> int:
    """The way that the octave asks for, where it is told from right at all."""
    return int(-np.sign(tilt)) if abs(tilt) > sd else 0
