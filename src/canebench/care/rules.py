"""Three published rules for noise at work: a level for eight hours, and how much louder halves the time.

What was read and what is from memory stands in the `source.toml` of each data set. Guarded by
`tests/published/test_exposure.py` and `tests/invariants/test_exposure.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from canebench.base.sizes import MINUS, POINT, Range

#: Every rule speaks of a day of eight hours.
_EIGHT_HOURS_MIN: Final = 480.0
#: A day by the clock, min.
CLOCK_DAY_MIN: Final = 1440.0
#: Levels that are taken, dB(A): from a quiet room to what no rule allows for any time.
LEVEL: Final = Range(
    low=20.0,
    high=140.0,
    usual=100.0,
    unit="dB(A)",
    slips=(MINUS, POINT),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A published rule for a day's noise.

    Guarded by `tests/published/test_exposure.py`.

    Attributes
    ----------
    name : str
        Short name with its number.
    source : str
        Where it is printed, with the equations.
    eight_hours_dba : float
        The level that fills the day in eight hours, dB(A).
    exchange_db : float
        How much louder halves the time, dB.
    average_factor : float
        Stands before the logarithm of the eight-hour average, dB, as printed.
    ceiling_dba : float or None
        Above this the rule allows no time at all, dB(A); None where it is silent.
    weekly : bool
        Whether the rule has a week too.
    """

    name: str
    source: str
    eight_hours_dba: float
    exchange_db: float
    average_factor: float
    ceiling_dba: float | None
    weekly: bool


NIOSH: Final = Rule(
    name="NIOSH 98-126",
    source=(
        "NIOSH publication 98-126 (1998), section 1.1: T = 480/2^((L-85)/3) min; D = 100 sum C/T; "
        "TWA = 10 log10(D/100) + 85; nothing above 140 dB(A)"
    ),
    eight_hours_dba=85.0,
    exchange_db=3.0,
    average_factor=10.0,
    ceiling_dba=140.0,
    weekly=False,
)
OSHA: Final = Rule(
    name="OSHA 1910.95",
    source=(
        "29 CFR 1910.95, table G-16 (nothing above 115 dB(A)) and appendix A: T = 8/2^((L-90)/5) h; "
        "D = 100 sum C/T; TWA = 16.61 log10(D/100) + 90"
    ),
    eight_hours_dba=90.0,
    exchange_db=5.0,
    average_factor=16.61,
    ceiling_dba=115.0,
    weekly=False,
)


def _eu(value: str, level_dba: float) -> Rule:
    """Directive 2003/10/EC, art. 3: equal energy, so 10 log10 2 dB for half the time."""
    return Rule(
        name=f"EU 2003/10/EC, {value}",
        source=(
            f"Directive 2003/10/EC, articles 2 and 3, {value} {level_dba:g} dB(A): "
            "L_EX,8h = 10 log10(sum of (C/480 min) 10^(L/10)), for the week the mean over five such days; "
            "equations of ISO 1999:1990, 3.6"
        ),
        eight_hours_dba=level_dba,
        exchange_db=10.0 * math.log10(2.0),
        average_factor=10.0,
        ceiling_dba=None,
        weekly=True,
    )


#: From here on information, and hearing protectors on offer.
EU_LOWER: Final = _eu("lower action value", 80.0)
#: From here on protectors are to be worn, and noise is to be brought down.
EU_UPPER: Final = _eu("upper action value", 85.0)
#: Not to be exceeded. This one alone counts what hearing protectors take off: give the level under them.
EU_LIMIT: Final = _eu("limit value", 87.0)
RULES: Final = (NIOSH, OSHA, EU_LOWER, EU_UPPER, EU_LIMIT)


def reference_minutes(rule: Rule, level_dba: float) -> float:
    """Time in which a steady level is a whole day's dose: T = 480 / 2^((L - L8h) / q), min.

    NIOSH 98-126, section 1.1, with L8h = 85 and q = 3; 29 CFR 1910.95, table G-16a, footnote, with 90 and 5;
    2003/10/EC with 80, 85 or 87 and q = 10 log10 2. `level_dba` 20 to 140 dB(A), else `InputError`. It may be
    longer than a day. Guarded by `tests/published/test_exposure.py`.
    """
    LEVEL.check("level", level_dba)
    return _EIGHT_HOURS_MIN / math.exp2((level_dba - rule.eight_hours_dba) / rule.exchange_db)


def too_loud(rule: Rule, level_dba: float) -> bool:
    """Whether `level_dba` is above what the rule allows for any time at all.

    115 dB(A) by 29 CFR 1910.95, table G-16; 140 dB(A) by NIOSH 98-126, section 1.1. Guarded by
    `tests/published/test_exposure.py`.
    """
    return rule.ceiling_dba is not None and level_dba > rule.ceiling_dba
