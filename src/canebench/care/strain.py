"""Blowing strength against the ceiling that a player set: advice never goes above it.

Guarded by `tests/practice/test_cautions.py` and `tests/invariants/test_strain.py`.
"""

from __future__ import annotations

from typing import Final

from canebench.base.pressure import KPA_SLIPS, PressureUnit, from_kpa
from canebench.base.sizes import Range
from canebench.base.uncertain import number
from canebench.care.cautions import CAUTIONS, Caution, Hazard

#: What a store holds too: 0 to 30 kPa.
_PRESSURE: Final = Range(
    low=0.0,
    high=30.0,
    usual=7.5,
    unit="kPa",
    slips=KPA_SLIPS,
)


def within_ceiling(kpa: float, ceiling_kpa: float) -> Caution | None:
    """None where a pressure is at or below the player's ceiling, else the caution to show in place of advice.

    The comparison is with the ceiling itself: no tolerance, no rounding. Common practice, no source; the
    ceiling is the player's, or their doctor's. Guarded by `tests/practice/test_cautions.py` and
    `tests/invariants/test_strain.py`.

    Parameters
    ----------
    kpa : float
        What a reed or an act asks for, 0 to 30 kPa.
    ceiling_kpa : float
        What the player set, 0 to 30 kPa.

    Raises
    ------
    InputError
        For a pressure that is not a number or out of range, with the likely slip.
    """
    _PRESSURE.check("pressure", kpa)
    _PRESSURE.check("ceiling", ceiling_kpa)
    if kpa <= ceiling_kpa:
        return None
    digits = next((few for few in range(1, 9) if round(kpa, few) != round(ceiling_kpa, few)), 9)
    asked, ceiling = _both(kpa, digits), _both(ceiling_kpa, digits)
    say = f"This asks for {asked}; your ceiling is {ceiling}. {CAUTIONS[Hazard.CEILING].say}"
    return Caution(hazard=Hazard.CEILING, say=say)


def _both(kpa: float, digits: int) -> str:
    inches = number(from_kpa(kpa, PressureUnit.INH2O), digits)
    return f"{inches} inH2O ({number(kpa, digits)} kPa)"
