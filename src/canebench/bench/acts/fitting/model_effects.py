"""What the bore model says of seat, tape and a pinch on a chanter, as the tables that learning starts from.

Guarded by `tests/cross_method/test_model_effects.py`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.base.setting import Setting
from canebench.base.units import hz_to_cents
from canebench.bore.gas.air import BREATH
from canebench.bore.instrument import Instrument, pitches_hz
from canebench.fitting.effects import EffectTables

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.bore.chanter_file import ChanterFile

#: Depths that are tabled, mm from the zero point; the bottom of the seat is added to them.
_SEATS_MM: Final = np.arange(-6.0, 6.01, 0.5)
#: Of sound in warm, moist breath, near enough here.
_SPEED_M_S: Final = 347.0
_SHARES: Final = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])


def instrument_of(file: ChanterFile) -> Instrument:
    """The chanter of a file with its reed, in a player's breath."""
    return Instrument(chanter=file.chanter, reed=file.reed, conditions=BREATH)


@lru_cache(maxsize=32)
def model_effects(file: ChanterFile) -> EffectTables:
    """Tables at the sizes that the file gives; computed once for each chanter."""
    instrument = instrument_of(file)

    def cents(settings: list[Setting]) -> FloatArray:
        return hz_to_cents(pitches_hz(instrument, settings, start_hz=zero_hz), zero_hz)

    zero_hz = pitches_hz(instrument, [Setting()])[0]
    seats = np.unique(np.append(_SEATS_MM[file.chanter.seat.gap_mm >= _SEATS_MM], file.chanter.seat.gap_mm))
    tape = np.array([_SHARES * hole.diameter_mm for hole in file.chanter.holes])
    taped = [
        Setting(tape_mm={hole: float(covered)})
        for row, hole in zip(tape, HOLES, strict=True)
        for covered in row
    ]
    return EffectTables(
        seat_mm=seats,
        seat_cents=(cents([Setting(seat_mm=float(seat)) for seat in seats]) + _shorter(seats, zero_hz)) / 2,
        tape_mm=tape,
        tape_cents=-cents(taped).reshape(len(HOLES), len(_SHARES), len(NOTES)),
        pinch_cents=cents([Setting(pinches=1)])[0],
    )


def _shorter(seats_mm: FloatArray, zero_hz: FloatArray) -> FloatArray:
    """What only a shorter bore would do, cents (S, 9).

    A cone sounds with half a wave in its length (Fletcher & Rossing 1998, sec. 8.7), so that d mm less raise
    it by 1200 log2(1 / (1 - 2 f d / c)). In the model a deeper seat also fills the gap under the staple, and
    high A rises by twice that; how much of this a seat really does is not known, so half of it is taken.
    """
    share = 2 * zero_hz * seats_mm[:, None] * 1e-3 / _SPEED_M_S
    return hz_to_cents(zero_hz / (1 - share), zero_hz)
