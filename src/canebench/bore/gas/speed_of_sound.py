"""The speed of sound in moist air: Cramer's equation in its range, carried on beyond it.

`water` is the mole fraction of vapour in the moist gas, `co2` that of carbon dioxide in the dry gas (Cramer
builds on the equation of state of CIPM, which counts so). Guarded by `tests/published/test_air.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.bore.gas.mixture import ideal_speed_m_s

if TYPE_CHECKING:
    from canebench.bore.gas.humidity import Scalar

#: Cramer 1993: 0 to 30 °C, 75 to 102 kPa, up to 0.06 of vapour and 0.01 of carbon dioxide.
_DEGC: Final = (0.0, 30.0)
_PA: Final = (75_000.0, 102_000.0)
_WATER: Final = (0.0, 0.06)
_CO2: Final = (0.0, 0.01)


def nearest(value: Scalar, low: float, high: float) -> Scalar:
    """The point of `low` to `high` nearest to `value`; a complex value is judged by its real part.

    At a border it carries no derivative. Guarded by `tests/invariants/test_air.py`.
    """
    if value.real < low:
        return low
    return high if value.real > high else value


def cramer_speed_m_s(*, temp_degc: Scalar, water: Scalar, co2: float, pressure_pa: float) -> Scalar:
    """Speed of sound at zero frequency, m/s: Cramer 1993 (JASA 93:2510), eq. 15 with table III.

    He states 300 ppm (0.5 cents). He states it for 0 to 30 °C, 75 to
    102 kPa, water <= 0.06 and CO2 <= 0.01; outside this extrapolates without a word.
    Guarded by `tests/published/test_air.py`.
    """
    t, p = temp_degc, pressure_pa
    return (
        331.5024  # a0
        + 0.603055 * t  # a1
        - 0.000528 * t**2  # a2
        + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * water  # a3 a4 a5
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p  # a6 a7 a8
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * co2  # a9 a10 a11
        - 2.835149 * water**2  # a12
        - 2.15e-13 * p**2  # a13
        + 29.179762 * co2**2  # a14
        + 0.000486 * water * p * co2  # a15
    )


def speed_m_s(*, temp_degc: Scalar, water: Scalar, co2: float, pressure_pa: float) -> Scalar:
    """Speed of sound in moist air or breath, m/s.

    Inside Cramer's range his eq. 15. Outside, the ideal mixture c = sqrt(gamma R T / M), times what Cramer
    gives over the ideal mixture at the nearest point of his range (1.0001 to 1.0004: a real gas, and other
    heat capacities). So the two join without a jump, where the bare ideal mixture would jump by 0.2 to 0.7
    cents; the derivative by temperature jumps by less than 0.5 % of itself at 0 and 30 °C, and by 1.3 % where
    the vapour passes 0.06 (saturated at 36 °C).
    Guarded by `tests/published/test_air.py` and `tests/invariants/test_air.py`.

    Parameters
    ----------
    temp_degc : number
        Temperature, °C, -10 to 50; complex to carry a derivative.
    water, co2 : number
        Mole fractions of vapour in the moist gas and of CO2 in the dry gas, up to about 0.12 and 0.1.
    pressure_pa : number
        Pressure, Pa. Beyond 102 kPa, as in a bag, its effect (0.02 cents at 7.5 kPa) is left out.
    """
    at_degc, at_water = nearest(temp_degc, *_DEGC), nearest(water, *_WATER)
    at_co2, at_pa = nearest(co2, *_CO2), nearest(pressure_pa, *_PA)
    inside = cramer_speed_m_s(temp_degc=at_degc, water=at_water, co2=at_co2, pressure_pa=at_pa)
    here = ideal_speed_m_s(temp_degc=temp_degc, water=water, co2=co2)
    there = ideal_speed_m_s(temp_degc=at_degc, water=at_water, co2=at_co2)
    return inside * here / there
