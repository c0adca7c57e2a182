"""Blowing strength against the ceiling that a player set: advice never goes above it.

Guarded by `tests/practice/test_cautions.py` and `tests/invariants/test_strain.py`.
"""

from __future__ import annotations

from typing import Final

from canebench.base.errors import InputError
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

#: What the two pressures of a player are called in an error.
BLOWS: Final = "what the player blows"
CEILING: Final = "ceiling"
#: So far above what is blown a ceiling is proposed, kPa: room for a reed a little above. An estimate of ours.
_ROOM_KPA: Final = 0.5


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
    digits = _apart(kpa, ceiling_kpa)
    asked, ceiling = _both(kpa, digits), _both(ceiling_kpa, digits)
    say = f"This asks for {asked}; your ceiling is {ceiling}. {CAUTIONS[Hazard.CEILING].say}"
    return Caution(hazard=Hazard.CEILING, say=say)


def check_told(*, blows_kpa: float | None, ceiling_kpa: float | None, told: str) -> None:
    """Refuse a player who blows nothing, or whose ceiling is not above what they blow.

    Common practice, no source. Guarded by `tests/practice/test_cautions.py`.

    Parameters
    ----------
    blows_kpa, ceiling_kpa : float or None
        What the player blows now and will not blow past, kPa; None for what is not told.
    told : str
        "blows" where only what is blown was told now, else "ceiling": which of the two an error is about.

    Raises
    ------
    InputError
        One of them is 0 or less, or the ceiling does not lie above what is blown.
    """
    for field, kpa in ((BLOWS, blows_kpa), (CEILING, ceiling_kpa)):
        if kpa is not None and kpa <= 0:
            raise InputError(
                field=field,
                given=_both(kpa, 2),
                allowed="more than 0 is needed",
                nearest="leave it empty where it is not known",
            )
    if blows_kpa is None or ceiling_kpa is None or ceiling_kpa > blows_kpa:
        return
    digits = _apart(blows_kpa, ceiling_kpa)
    blown, ceiling = _both(blows_kpa, digits), _both(ceiling_kpa, digits)
    if told == "blows":
        raise InputError(
            field=BLOWS,
            given=blown,
            allowed=f"it lies below the ceiling, {ceiling}",
            nearest="less than that, or a higher ceiling told with it",
        )
    raise InputError(
        field=CEILING,
        given=ceiling,
        allowed=f"it lies above what the player blows now, {blown}",
        nearest=f"{_both(blows_kpa + _ROOM_KPA, 1)} or more",
    )


def _apart(one_kpa: float, other_kpa: float) -> int:
    """So many decimals that the two do not read alike, where they differ."""
    return next((few for few in range(1, 9) if round(one_kpa, few) != round(other_kpa, few)), 9)


def _both(kpa: float, digits: int) -> str:
    inches = number(from_kpa(kpa, PressureUnit.INH2O), digits)
    return f"{inches} inH2O ({number(kpa, digits)} kPa)"
