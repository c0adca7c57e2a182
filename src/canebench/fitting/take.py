"""One take of a fitting: nine pitches in a setting.

Guarded by `tests/faults/test_fitting_file.py` and `tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import InputError
from canebench.base.notes import NOTES

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """What nine notes played in a setting.

    Attributes
    ----------
    setting : Setting
        How the reed sat and what was taped.
    hz : array (9,)
        Pitches in scale order; NaN for a note that was not played.
    sd_cents : array (9,)
        Standard uncertainty of each as a reading of this reed (how another take would repeat it).
    warm_min : number or None
        How long the pipes were played before, minutes; None where nobody told.
    room_degc : number or None
        Temperature of the room, °C; None where nobody told.
    """

    setting: Setting
    hz: FloatArray
    sd_cents: FloatArray
    warm_min: float | None = None
    room_degc: float | None = None

    def __post_init__(self) -> None:
        if self.hz.shape != (len(NOTES),) or self.sd_cents.shape != (len(NOTES),):
            raise InputError(field="take", given=f"{self.hz.shape} pitches", allowed="nine are needed")
        heard = np.isfinite(self.hz)
        if not heard.any():
            raise InputError(field="take", given="no pitch at all", allowed="one note at least is needed")
        if np.any(self.hz[heard] <= 0) or np.any(~(self.sd_cents[heard] >= 0)):
            raise InputError(
                field="take", given="a pitch or an uncertainty below 0", allowed="both are positive"
            )
