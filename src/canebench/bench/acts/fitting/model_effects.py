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
from canebench.bore.gas.air import BREATH
from canebench.bore.instrument import pitches_hz
from canebench.bore.unknowns import Unknowns
from canebench.fitting.effects import EffectTables

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.bore.chanter_file import ChanterFile

#: Depths that are tabled, mm from the zero point; the bottom of the seat is added to them.
_SEATS_MM: Final = np.arange(-6.0, 6.01, 0.5)
_SHARES: Final = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])


@lru_cache(maxsize=32)
def model_effects(file: ChanterFile) -> EffectTables:
    """Tables at the sizes that the file gives; computed once for each chanter."""
    unknowns = Unknowns(start=file, conditions=BREATH)
    instrument = unknowns.instrument(np.zeros(len(unknowns.names)))

    def cents(settings: list[Setting]) -> FloatArray:
        return np.asarray(1200 * np.log2(pitches_hz(instrument, settings, start_hz=zero_hz) / zero_hz))

    zero_hz = pitches_hz(instrument, [Setting()])[0]
    seats = np.unique(np.append(_SEATS_MM[_SEATS_MM <= file.chanter.seat.gap_mm], file.chanter.seat.gap_mm))
    tape = np.array([_SHARES * hole.diameter_mm for hole in file.chanter.holes])
    taped = [
        Setting(tape_mm={hole: float(covered)})
        for row, hole in zip(tape, HOLES, strict=True)
        for covered in row
    ]
    return EffectTables(
        seat_mm=seats,
        seat_cents=cents([Setting(seat_mm=float(seat)) for seat in seats]),
        tape_mm=tape,
        tape_cents=-cents(taped).reshape(len(HOLES), len(_SHARES), len(NOTES)),
        pinch_cents=cents([Setting(pinches=1)])[0],
    )
