"""Air in a bore, from what a player can know of it: temperature, humidity, carbon dioxide, pressure.

Guarded by `tests/published/test_air.py` and `tests/invariants/test_air.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.bore.gas.density import density_kg_m3
from canebench.bore.gas.humidity import ZERO_DEGC_K, Scalar, water_fraction
from canebench.bore.gas.mixture import (
    GAS_CONSTANT,
    conductivity_w_mk,
    heat_ratio,
    molar_heat,
    molar_mass_kg_mol,
    viscosity_pa_s,
)
from canebench.bore.gas.speed_of_sound import speed_m_s

if TYPE_CHECKING:
    from collections.abc import Callable

_DEGC: Final = (-10.0, 50.0)
_HUMIDITY: Final = (0.0, 1.0)
_CO2: Final = (0.0, 0.1)
_PA: Final = (50_000.0, 130_000.0)
#: Of the complex step: so small that its square vanishes beside one, so nothing is rounded away.
_STEP: Final = 1e-30


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """What the bore needs to know of the air in it.

    Attributes
    ----------
    density_kg_m3, speed_m_s : number
        Density (kg/m³) and speed of sound (m/s).
    viscosity_pa_s, conductivity_w_mk : number
        Dynamic viscosity (Pa s) and thermal conductivity (W/(m K)).
    heat_capacity_j_kgk : number
        At constant pressure, J/(kg K).
    gamma : number
        Ratio of specific heats.
    """

    density_kg_m3: float
    speed_m_s: float
    viscosity_pa_s: float
    conductivity_w_mk: float
    heat_capacity_j_kgk: float
    gamma: float

    @property
    def viscosity_m2_s(self) -> float:
        """Kinematic viscosity mu/rho, m²/s; of no sense in a result of `air_per_degc`."""
        return self.viscosity_pa_s / self.density_kg_m3

    @property
    def diffusivity_m2_s(self) -> float:
        """Thermal diffusivity kappa/(rho c_p), m²/s; of no sense in a result of `air_per_degc`."""
        return self.conductivity_w_mk / (self.density_kg_m3 * self.heat_capacity_j_kgk)

    @property
    def stiffness_pa(self) -> float:
        """Bulk modulus rho c², Pa; of no sense in a result of `air_per_degc`."""
        return self.density_kg_m3 * self.speed_m_s**2


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What is known of the air in a bore; it checks itself.

    None of the first three has a default, since a wrong guess changes the pitch: 1 °C is 3 cents, dry or
    saturated 6 cents at 20 °C, 1 % of carbon dioxide 4 cents.

    Attributes
    ----------
    temp_degc : number
        Temperature, -10 to 50 °C.
    humidity : number
        Relative humidity, 0 to 1.
    co2 : number
        Mole fraction of carbon dioxide in the dry gas, 0 to 0.1; fresh air has 0.0004.
    pressure_pa : number
        50 to 130 kPa; one atmosphere unless given.

    Raises
    ------
    InputError
        For a value that is not a number or outside these ranges, with the likely slip (65 for 65 %, 300 K,
        68 °F, 4 %, 400 ppm, 1013 hPa, 101.3 kPa, 1 bar). Guarded by `tests/invariants/test_air.py`.
    """

    temp_degc: float
    humidity: float
    co2: float
    pressure_pa: float = 101_325.0

    def __post_init__(self) -> None:
        _check("temperature", self.temp_degc, _DEGC, " °C", _meant_degc)
        _check("relative humidity", self.humidity, _HUMIDITY, "", _meant_humidity)
        _check("carbon dioxide (mole fraction of the dry gas)", self.co2, _CO2, "", _meant_co2)
        _check("pressure", self.pressure_pa, _PA, " Pa", _meant_pa)


def air_at(conditions: Conditions) -> Air:
    """The air under these conditions.

    Speed: Cramer 1993, eq. 15, carried on by the ideal mixture (`bore.gas.speed_of_sound`). Density:
    CIPM-2007, carried on likewise (`bore.gas.density`). The rest: means over the gases
    (`bore.gas.mixture`), each with its source and what it neglects. `conditions` has checked itself.
    Guarded by `tests/published/test_air.py` and `tests/invariants/test_air.py`.
    """
    return Air(**_fields(float(conditions.temp_degc), conditions))


def air_per_degc(conditions: Conditions) -> Air:
    """Derivative of each field of `air_at` per °C; relative humidity, carbon dioxide and pressure are held.

    Exact to rounding: a complex step (Squire & Trapp 1998, SIAM Review 40:110, eq. 4) through the same
    formulas. At a border of Cramer's or CIPM's range that of the inner side is given. The properties of the
    result have no sense. Guarded by `tests/invariants/test_air.py`.
    """
    stepped = _fields(complex(conditions.temp_degc, _STEP), conditions)
    return Air(**{name: value.imag / _STEP for name, value in stepped.items()})


def _fields(temp_degc: Scalar, conditions: Conditions) -> dict[str, Scalar]:
    co2, pressure_pa = conditions.co2, conditions.pressure_pa
    water = water_fraction(temp_degc=temp_degc, humidity=conditions.humidity, pressure_pa=pressure_pa)
    mass_kg_mol = molar_mass_kg_mol(water=water, co2=co2)
    heat = molar_heat(temp_degc=temp_degc, water=water, co2=co2)
    return {
        "density_kg_m3": density_kg_m3(temp_degc=temp_degc, water=water, co2=co2, pressure_pa=pressure_pa),
        "speed_m_s": speed_m_s(temp_degc=temp_degc, water=water, co2=co2, pressure_pa=pressure_pa),
        "viscosity_pa_s": viscosity_pa_s(temp_degc=temp_degc, water=water, co2=co2),
        "conductivity_w_mk": conductivity_w_mk(temp_degc=temp_degc, water=water, co2=co2),
        "heat_capacity_j_kgk": heat * GAS_CONSTANT / mass_kg_mol,
        "gamma": heat_ratio(temp_degc=temp_degc, water=water, co2=co2),
    }


def _check(
    name: str, value: float, span: tuple[float, float], unit: str, meant: Callable[[float], tuple[float, str]]
) -> None:
    low, high = span
    if math.isfinite(value) and low <= value <= high:
        return
    guess, why = meant(value) if math.isfinite(value) else (math.nan, "")
    if not low <= guess <= high:
        guess, why = (high if value > high else low), ""
    raise InputError(
        field=name,
        given=f"{value:g}{unit}",
        allowed=f"from {low:g} to {high:g}{unit} is allowed",
        nearest=None if not math.isfinite(value) else f"{guess:.6g}{unit}{why}",
    )


def _meant_degc(value: float) -> tuple[float, str]:
    if value > 200:
        return value - ZERO_DEGC_K, f", if {value:g} K was meant"
    return (value - 32) / 1.8, f", if {value:g} °F was meant"


def _meant_humidity(value: float) -> tuple[float, str]:
    return (value / 100, f", if {value:g} % was meant") if value >= 2 else (math.nan, "")


def _meant_co2(value: float) -> tuple[float, str]:
    if value >= 100:
        return value * 1e-6, f", if {value:g} ppm was meant"
    return value / 100, f", if {value:g} % was meant"


def _meant_pa(value: float) -> tuple[float, str]:
    for factor, unit in ((100.0, "hPa"), (1000.0, "kPa"), (1e5, "bar")):
        if _PA[0] <= value * factor <= _PA[1]:
            return value * factor, f", if {value:g} {unit} was meant"
    return math.nan, ""


#: Breath inside a played bore: warmer than the room, wet, with the carbon dioxide that is breathed out (4 to
#: 5 %). Our estimate, from memory of what is known of other wind instruments; nothing was found for pipes.
BREATH: Final = Conditions(temp_degc=27.0, humidity=1.0, co2=0.04)
