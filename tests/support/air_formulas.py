"""Published formulas of air that ours are compared with: a second way to the same numbers.

Temperatures in °C, pressures in Pa, `water` and `co2` as mole fractions. Nothing is checked.
"""

from __future__ import annotations

import math

from canebench.bore.gas.density import compressibility
from canebench.bore.gas.mixture import GAS_CONSTANT, molar_mass_kg_mol

_ZERO_DEGC_K = 273.15


def cramer_saturation_pa(temp_degc: float) -> float:
    """Saturation pressure as Cramer 1993 (JASA 93:2510, appendix) has it, Pa, at 0 to 30 °C."""
    kelvin = temp_degc + _ZERO_DEGC_K
    exponent = 1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin
    return math.exp(exponent)


def iso9613_saturation_pa(temp_degc: float) -> float:
    """Saturation pressure of ISO 9613-1:1993, annex B, eqs. (B.2), (B.3), Pa, at -20 to 50 °C."""
    ratio = (273.16 / (temp_degc + _ZERO_DEGC_K)) ** 1.261
    return float(101_325.0 * 10 ** (-6.8346 * ratio + 4.6151))


def iso9613_speed_m_s(temp_degc: float) -> float:
    """Speed of sound by temperature alone, m/s: ISO 9613-1:1993, annex A, c = 343.2 sqrt(T / 293.15 K).

    It leaves out what humidity does: 6 cents at 20 °C from dry to saturated.
    """
    return 343.2 * math.sqrt((temp_degc + _ZERO_DEGC_K) / 293.15)


def cipm_density_kg_m3(*, temp_degc: float, water: float, co2: float, pressure_pa: float) -> float:
    """Density of moist air, kg/m³: rho = p M / (Z R T), CIPM-2007, eqs. 1 to 3a, good to 22 ppm in its range.

    Outside `in_cipm_range` this is an extrapolation, not an error.
    """
    z = compressibility(temp_degc=temp_degc, water=water, pressure_pa=pressure_pa)
    mass = molar_mass_kg_mol(water=water, co2=co2)
    return pressure_pa * mass / (GAS_CONSTANT * (temp_degc + _ZERO_DEGC_K) * z)


def in_cipm_range(*, temp_degc: float, pressure_pa: float) -> bool:
    """Whether CIPM-2007, section 2, is recommended for this: 15 to 27 °C and 60 to 110 kPa."""
    return 15.0 <= temp_degc <= 27.0 and 60_000.0 <= pressure_pa <= 110_000.0
