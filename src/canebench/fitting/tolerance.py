"""How far off is still in tune, and whether a measured value can be told from it.

Guarded by `tests/practice/test_trade.py`, `tests/invariants/test_next_act.py` and
`tests/practice/test_fitting_edges.py`.
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.notes import HIGH_A, LOW_A, NOTES, E

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.uncertain import Uncertain

Judgement = Literal["in", "out", "unresolved"]

#: Cents either way, an estimate from hearing: a trained ear hears 2-3 cents on the notes that lie on the
#: drones (Micheyl et al. 2006, Hear. Res. 219:36), and somewhat less of the others.
TOLERANCE_CENTS: Final[Mapping[str, float]] = MappingProxyType(
    {note: 3.0 if note in (LOW_A, E, HIGH_A) else 5.0 for note in NOTES}
)
#: Drones are tuned to low A, so height is judged as low A is, and tilt as the high A above it is.
HEIGHT_TOLERANCE_CENTS: Final = TOLERANCE_CENTS[LOW_A]
TILT_TOLERANCE_CENTS: Final = TOLERANCE_CENTS[HIGH_A]

#: Three chances in four are enough to act, since every act is small and can be taken back.
_ENOUGH_TO_ACT = 0.75


def judge(value: Uncertain, tolerance_cents: float) -> Judgement:
    """Whether `value` is within ± `tolerance_cents`, beyond it, or cannot be told.

    A value at the very border with a small uncertainty counts as in: moving it gains nothing.
    Guarded by `tests/invariants/test_next_act.py`.

    Parameters
    ----------
    value : Uncertain
        A deviation, cents; without a finite value and uncertainty nothing can be told.
    tolerance_cents : number > 0
        How far off is still in tune, cents.

    Returns
    -------
    "in", "out" or "unresolved"
        "out" from three chances in four of being beyond on one side.
    """
    if value.sd is None or not math.isfinite(value.sd) or not math.isfinite(value.value):
        return "unresolved"
    sharp, flat = chances_beyond(value.value, value.sd, tolerance_cents)
    # Each way by itself: a wholly vague value is surely out, but an act needs to know which way.
    if max(sharp, flat) >= _ENOUGH_TO_ACT:
        return "out"
    # A third of it and more lies outside, wherever the value: too much to say "in".
    if value.sd > tolerance_cents:
        return "unresolved"
    return "in"


def chances_beyond(value: float, sd: float, tolerance: float) -> tuple[float, float]:
    """How likely a normally distributed value is out of tolerance, each way.

    Parameters
    ----------
    value, sd : number
        Its mean and standard deviation, cents.
    tolerance : number
        Cents either way, > 0.

    Returns
    -------
    number, number
        Probabilities that it lies above `tolerance`, and below minus that.
    """
    if sd == 0:
        return float(value > tolerance), float(value < -tolerance)
    scale = sd * math.sqrt(2)
    return math.erfc((tolerance - value) / scale) / 2, math.erfc((tolerance + value) / scale) / 2
