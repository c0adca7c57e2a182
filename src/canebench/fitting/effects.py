"""What seat, tape and a pinch usually do to each note, as tables: no physics here, numbers of it.

Guarded by `tests/analytic/test_belief.py`, `tests/analytic/test_belief_sizes.py` and
`tests/analytic/test_sizing.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting

_STEP_MM = 0.05
#: Columns of a design: pitches of the notes, scales of the seat by note and of tape by hole, and of a pinch.
PITCH: Final = slice(0, len(NOTES))
SEAT: Final = slice(PITCH.stop, PITCH.stop + len(NOTES))
TAPE: Final = slice(SEAT.stop, SEAT.stop + len(HOLES))
SIZE: Final = TAPE.stop + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectTables:
    """Effects in cents, as a model of the chanter gives them before anything was learnt of it.

    Attributes
    ----------
    seat_mm : array (S,)
        Depths of the seat, rising; deeper is positive.
    seat_cents : array (S, 9)
        How far each sharpens each note against the zero point, on a bare chanter.
    tape_mm : array (H, L)
        Amounts of tape on each hole, rising from 0.
    tape_cents : array (H, L, 9)
        How far each flattens each note, 0 or more.
    pinch_cents : array (9,)
        How far one pinch sharpens each note.
    """

    seat_mm: FloatArray
    seat_cents: FloatArray
    tape_mm: FloatArray
    tape_cents: FloatArray
    pinch_cents: FloatArray
    # Tables made of these (`replace`) begin with none of it.
    _known: dict[tuple[str, float], FloatArray] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    def __post_init__(self) -> None:
        levels, nine = self.tape_mm.shape[-1], len(NOTES)
        wanted = {
            "seat_cents": (self.seat_cents.shape, (self.seat_mm.size, nine)),
            "tape_mm": (self.tape_mm.shape, (len(HOLES), levels)),
            "tape_cents": (self.tape_cents.shape, (len(HOLES), levels, nine)),
            "pinch_cents": (self.pinch_cents.shape, (nine,)),
        }
        for name, (given, needed) in wanted.items():
            if given != needed:
                raise InputError(field=name, given=f"shape {given}", allowed=f"shape {needed} is needed")

    def seat(self, depth_mm: float) -> FloatArray:
        """Cents (9,) by which this depth sharpens each note; past the table's ends it does no more."""
        return self._interpolated("", depth_mm, self.seat_mm, self.seat_cents)

    def seat_per_mm(self, depth_mm: float) -> FloatArray:
        """Cents (9,) for a millimetre deeper, about this depth."""
        above, below = self.seat(depth_mm - _STEP_MM), self.seat(depth_mm + _STEP_MM)
        return np.asarray((below - above) / (2 * _STEP_MM))

    def tape(self, hole: str, covered_mm: float) -> FloatArray:
        """Cents (9,) by which so much tape flattens each note."""
        row = HOLES.index(hole)
        return self._interpolated(hole, covered_mm, self.tape_mm[row], self.tape_cents[row])

    def tape_per_mm(self, hole: str, covered_mm: float) -> FloatArray:
        """Cents (9,) for a millimetre more tape, about this amount."""
        low = max(0.0, covered_mm - _STEP_MM)
        high = covered_mm + _STEP_MM
        return np.asarray((self.tape(hole, high) - self.tape(hole, low)) / (high - low))

    def design(self, setting: Setting) -> FloatArray:
        """The row of each note (9, SIZE): its own pitch, and the scales of seat, tape and, last, a pinch."""
        found = np.zeros((len(NOTES), SIZE))
        found[:, PITCH] = np.eye(len(NOTES))
        found[:, SEAT] = np.diag(self.seat(setting.seat_mm))
        for hole, covered_mm in setting.tape_mm.items():
            found[:, TAPE.start + HOLES.index(hole)] = -self.tape(hole, covered_mm)
        found[:, -1] = setting.pinches * self.pinch_cents
        return found

    def _interpolated(self, what: str, at_mm: float, known_mm: FloatArray, cents: FloatArray) -> FloatArray:
        """Linear between the table's rows, once for each place: a search asks for few, and often."""
        key = (what, at_mm)
        if key not in self._known:
            self._known[key] = np.array([np.interp(at_mm, known_mm, column) for column in cents.T])
        return self._known[key]
