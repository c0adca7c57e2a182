"""Dry air, carbon dioxide and water vapour as ideal gases: mass, heat, speed, viscosity, conductivity.

`water` is the mole fraction of vapour in the moist gas, `co2` that of carbon dioxide in the *dry* gas. Carbon
dioxide takes the place of as much oxygen, as in a room (CIPM-2007, section 3). A body takes up a little more
oxygen than it gives out carbon dioxide; at 4 % this would leave 0.7 % more nitrogen and raise the speed by
0.15 m/s (0.8 cents). It is neglected: less than the carbon dioxide itself is unsure by (4 cents for 1 %).
Guarded by `tests/published/test_air.py` and `tests/invariants/test_air.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from canebench.bore.gas.humidity import ZERO_DEGC_K, Scalar

if TYPE_CHECKING:
    from collections.abc import Iterable

#: Molar gas constant of CIPM-2007, J/(mol K); the exact one of 2019 is 1.1 ppm less.
GAS_CONSTANT: Final = 8.314472
#: Carbon dioxide in the dry air of CIPM-2007, mole fraction.
FRESH_CO2: Final = 0.0004
_WATER_KG_MOL: Final = 18.01528e-3  # CIPM-2007, M_v
_FRESH_KG_MOL: Final = 28.96546e-3  # CIPM-2007, eq. 3a: M_a at 0.0004 of CO2
_SWAP_KG_MOL: Final = 12.011e-3  # the same: an atom of carbon for each O2 turned into CO2
_CO2_KG_MOL: Final = 44.0095e-3  # IUPAC atomic weights
_NITROGEN: Final = 0.780848  # CIPM-2007, table 1
_OXYGEN_AND_CO2: Final = 0.209790  # CIPM-2007, table 1: 0.209390 + 0.0004
_ARGON: Final = 0.009362  # CIPM-2007, table 1: 0.009332, and 0.00003 of rarer gases counted with it

#: C_p / R as a power series in T (K), 200 to 1000 K: the first five of the NASA polynomials' seven
#: coefficients (McBride, Gordon & Reno 1993, NASA TM-4513; N2 as revised in 2002), found in public codes.
_NITROGEN_HEAT: Final = (3.53100528, -1.23660988e-4, -5.02999433e-7, 2.43530612e-9, -1.40881235e-12)
_OXYGEN_HEAT: Final = (3.78245636, -2.99673416e-3, 9.84730201e-6, -9.68129509e-9, 3.24372837e-12)
_CO2_HEAT: Final = (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13)
_WATER_HEAT: Final = (4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12)
_ARGON_HEAT: Final = (2.5,)

#: Sutherland's law (1893, Phil. Mag. 36:507): value at a temperature (K), that temperature, his constant (K),
#: after White 2006, Viscous Fluid Flow, tables 1-2 (Pa s) and 1-3 (W/(m K)), found in public codes.
_AIR_VISCOSITY: Final = (1.716e-5, 273.0, 111.0)
_CO2_VISCOSITY: Final = (1.370e-5, 273.0, 222.0)
_AIR_CONDUCTIVITY: Final = (0.0241, 273.0, 194.0)
_CO2_CONDUCTIVITY: Final = (0.0146, 273.0, 1800.0)
#: Water vapour at 0 to 120 °C as a power series in t (°C): Tsilingiris 2008 (Energy Conversion and Management
#: 49:1098), Pa s and W/(m K), found in public codes.
_WATER_VISCOSITY: Final = (80.58131868e-7, 0.4000549451e-7)
_WATER_CONDUCTIVITY: Final = (1.761758242e-2, 5.558941059e-5, 1.663336663e-7)


def molar_mass_kg_mol(*, water: Scalar, co2: float) -> Scalar:
    """Mean mass of a mole of the moist gas, kg/mol (CIPM-2007, eqs. 2 and 3a).

    `water` and `co2` from 0 to 1, unchecked. Guarded by `tests/published/test_air.py`.
    """
    return _dry_kg_mol(co2) * (1 - water) + _WATER_KG_MOL * water


def molar_heat(*, temp_degc: Scalar, water: Scalar, co2: float) -> Scalar:
    """C_p over R of the moist gas at constant pressure, no unit: the mean of its gases by mole fraction.

    At -73 to 700 °C (the polynomials' range), unchecked. The 0.15 % by which real air at 1 atm
    differs is neglected; it does not enter the speed inside Cramer's range. The vibrations of the molecules
    are taken to follow the wave: with vapour about they relax far above the notes' partials.
    Guarded by `tests/published/test_air.py` and `tests/invariants/test_air.py`.
    """
    kelvin = temp_degc + ZERO_DEGC_K
    dry = (
        _NITROGEN * _series(_NITROGEN_HEAT, kelvin)
        + (_OXYGEN_AND_CO2 - co2) * _series(_OXYGEN_HEAT, kelvin)
        + co2 * _series(_CO2_HEAT, kelvin)
        + _ARGON * _series(_ARGON_HEAT, kelvin)
    )
    return dry * (1 - water) + water * _series(_WATER_HEAT, kelvin)


def heat_ratio(*, temp_degc: Scalar, water: Scalar, co2: float) -> Scalar:
    """Gamma, the ratio of specific heats of the ideal mixture: C_p/(C_p - R); range as `molar_heat`.

    Guarded by `tests/published/test_air.py`.
    """
    heat = molar_heat(temp_degc=temp_degc, water=water, co2=co2)
    return heat / (heat - 1)


def ideal_speed_m_s(*, temp_degc: Scalar, water: Scalar, co2: float) -> Scalar:
    """Speed of sound in the ideal mixture, m/s: c = sqrt(gamma R T / M) (Laplace 1816).

    0.01 to 0.04 % (0.2 to 0.7 cents) below Cramer 1993 over the range of his equation, where molecules feel
    one another. Range as `molar_heat`. Guarded by `tests/published/test_air.py`.
    """
    gamma = heat_ratio(temp_degc=temp_degc, water=water, co2=co2)
    squared = gamma * GAS_CONSTANT * (temp_degc + ZERO_DEGC_K) / molar_mass_kg_mol(water=water, co2=co2)
    value: Scalar = squared**0.5
    return value


def viscosity_pa_s(*, temp_degc: Scalar, water: Scalar, co2: float) -> Scalar:
    """Dynamic viscosity, Pa s: dry air, CO2 (Sutherland) and vapour, mixed after Herning & Zipperer 1936.

    Good to about 2 % at -10 to 50 °C. Neglected: that the CO2 of breath stands for oxygen, not for air
    (0.5 % of the viscosity at 4 %), and pressure (below 0.1 %). The boundary layer goes with the square root:
    1 % here is 0.1 cents of the 30 or so by which the wall flattens a tube of 4 mm radius at 480 Hz
    (our estimate).
    Unchecked. Guarded by `tests/published/test_air.py`.
    """
    kelvin = temp_degc + ZERO_DEGC_K
    return _mixed(
        _sutherland(_AIR_VISCOSITY, kelvin),
        _series(_WATER_VISCOSITY, temp_degc),
        _sutherland(_CO2_VISCOSITY, kelvin),
        water=water,
        co2=co2,
    )


def conductivity_w_mk(*, temp_degc: Scalar, water: Scalar, co2: float) -> Scalar:
    """Thermal conductivity, W/(m K): the same gases, mixed after Wassiljewa 1904.

    Her factors are taken as the square roots of the ratios of masses, as in `viscosity_pa_s`. Good to about
    3 %, by which textbooks differ among themselves; what that does to the pitch, and what is neglected, is as
    there and less. Unchecked. Guarded by `tests/published/test_air.py`.
    """
    kelvin = temp_degc + ZERO_DEGC_K
    return _mixed(
        _sutherland(_AIR_CONDUCTIVITY, kelvin),
        _series(_WATER_CONDUCTIVITY, temp_degc),
        _sutherland(_CO2_CONDUCTIVITY, kelvin),
        water=water,
        co2=co2,
    )


def _dry_kg_mol(co2: float) -> float:
    """M_a of CIPM-2007, eq. 3a."""
    return _FRESH_KG_MOL + _SWAP_KG_MOL * (co2 - FRESH_CO2)


def _series(coefficients: Iterable[float], by: Scalar) -> Scalar:
    total: Scalar = 0.0 * by
    for power, coefficient in enumerate(coefficients):
        total = total + coefficient * by**power
    return total


def _sutherland(law: tuple[float, float, float], kelvin: Scalar) -> Scalar:
    """Sutherland 1893: value = at (T/T0)^(3/2) (T0 + S)/(T + S)."""
    reference, reference_k, constant_k = law
    rise: Scalar = (kelvin / reference_k) ** 1.5
    return reference * rise * (reference_k + constant_k) / (kelvin + constant_k)


def _mixed(dry: Scalar, vapour: Scalar, carbonic: Scalar, *, water: Scalar, co2: float) -> Scalar:
    """Herning & Zipperer 1936 (Gas- und Wasserfach 79:49): sum x y sqrt(M) / sum x sqrt(M).

    Dry air counts as one gas with its own 0.0004 of CO2.
    """
    extra = (co2 - FRESH_CO2) * (1 - water)
    by_water = water * math.sqrt(_WATER_KG_MOL)
    by_co2 = extra * math.sqrt(_CO2_KG_MOL)
    by_air = (1 - water - extra) * math.sqrt(_FRESH_KG_MOL)
    return (dry * by_air + vapour * by_water + carbonic * by_co2) / (by_air + by_water + by_co2)
