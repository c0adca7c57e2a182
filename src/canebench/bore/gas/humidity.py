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


def cramer_saturation_pa(temp_degc: Scalar) -> Scalar:
    """Saturation pressure as Cramer 1993 (JASA 93:2510, appendix) has it, Pa, at 0 to 30 °C.

    Only to compare with his table: `saturation_pa` is the later formula, 0.04 % away at most.
    Nothing is checked. Guarded by `tests/published/test_air.py`.
    """
    kelvin = temp_degc + ZERO_DEGC_K
    exponent = 1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin
    value: Scalar = math.e**exponent
    return value


def iso9613_saturation_pa(temp_degc: Scalar) -> Scalar:
    """Saturation pressure of ISO 9613-1:1993, annex B, eqs. (B.2), (B.3), Pa, at -20 to 50 °C.

    A second way to the same number, within 0.3 % of `saturation_pa`. Nothing is checked.
    Guarded by `tests/published/test_air.py`.
    """
    ratio: Scalar = (273.16 / (temp_degc + ZERO_DEGC_K)) ** 1.261
    value: Scalar = 101_325.0 * 10 ** (-6.8346 * ratio + 4.6151)
    return value


def enhancement(temp_degc: Scalar, pressure_pa: float) -> Scalar:
    """By how much air at `pressure_pa` Pa and `temp_degc` °C holds more vapour than a vacuum; about 1.004.

    CIPM-2007, eq. A1.2, the same in Cramer 1993 (appendix); meant for 60 to 110 kPa and 15 to 27 °C; from
    1.002 to 1.006 over what we ask of it. Nothing is checked. Guarded by `tests/published/test_air.py`.
    """
    return 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * temp_degc**2


def water_fraction(
    *, temp_degc: Scalar, humidity: float, pressure_pa: float, over_water_pa: Scalar | None = None
) -> Scalar:
    """Mole fraction of vapour in the moist gas: x_w = h f p_sv / p (CIPM-2007, eq. A1.3).

    Parameters
    ----------
    temp_degc : number
        Temperature, °C, -10 to 50.
    humidity : number
        Relative humidity, 0 to 1.
    pressure_pa : number
        Pressure of the gas, Pa.
    over_water_pa : number, optional
        Saturation pressure by another formula, Pa; without it that of `saturation_pa`.

    Notes
    -----
    Nothing is checked; `canebench.bore.gas.air.Conditions` does. Guarded by `tests/published/test_air.py`.
    """
    saturated_pa = saturation_pa(temp_degc) if over_water_pa is None else over_water_pa
    return humidity * enhancement(temp_degc, pressure_pa) * saturated_pa / pressure_pa
