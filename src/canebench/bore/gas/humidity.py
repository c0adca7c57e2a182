"""Water in the air: saturation pressure, and from relative humidity the mole fraction of vapour.

Every formula takes a real or a complex temperature; the complex one carries a derivative (complex step).
Guarded by `tests/published/test_air.py`.
"""

from __future__ import annotations

import math
from typing import Final, TypeVar

#: A real number, or a complex one whose imaginary part carries a derivative.
Scalar = TypeVar("Scalar", float, complex)

ZERO_DEGC_K: Final = 273.15


def saturation_pa(temp_degc: Scalar) -> Scalar:
    """Saturation pressure of water vapour over water, Pa, at `temp_degc` °C.

    CIPM-2007 (Picard et al. 2008, Metrologia 45:149), eq. A1.1. It is meant for 15 to 27 °C; we use it from
    -10 °C (over water that has not frozen) to 50 °C; from 0 °C up it stays within 0.1 % of the steam tables.
    Nothing is checked. Guarded by `tests/published/test_air.py`.
    """
    kelvin = temp_degc + ZERO_DEGC_K
    exponent = 1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin
    value: Scalar = math.e**exponent
    return value


def enhancement(temp_degc: Scalar, pressure_pa: float) -> Scalar:
    """By how much air at `pressure_pa` Pa and `temp_degc` °C holds more vapour than a vacuum; about 1.004.

    CIPM-2007, eq. A1.2, the same in Cramer 1993 (appendix); meant for 60 to 110 kPa and 15 to 27 °C; from
    1.002 to 1.006 over what we ask of it. Nothing is checked. Guarded by `tests/published/test_air.py`.
    """
    return 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * temp_degc**2


def water_fraction(*, temp_degc: Scalar, humidity: float, pressure_pa: float) -> Scalar:
    """Mole fraction of vapour in the moist gas: x_w = h f p_sv / p (CIPM-2007, eq. A1.3).

    Parameters
    ----------
    temp_degc : number
        Temperature, °C, -10 to 50.
    humidity : number
        Relative humidity, 0 to 1.
    pressure_pa : number
        Pressure of the gas, Pa.

    Notes
    -----
    Nothing is checked; `canebench.bore.gas.air.Conditions` does. Guarded by `tests/published/test_air.py`.
    """
    return humidity * enhancement(temp_degc, pressure_pa) * saturation_pa(temp_degc) / pressure_pa
