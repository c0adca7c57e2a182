"""The density of moist air: CIPM-2007 in its range, carried on beyond it.

Picard, Davis, Glaser & Fujii 2008, Revised formula for the density of moist air (CIPM-2007), Metrologia
45:149-155. `water` is the mole fraction of vapour in the moist gas, `co2` that of carbon dioxide in the dry
gas. Guarded by `tests/published/test_air.py`.
"""

from __future__ import annotations

from typing import Final

from canebench.bore.gas.humidity import ZERO_DEGC_K, Scalar
from canebench.bore.gas.mixture import GAS_CONSTANT, molar_mass_kg_mol
from canebench.bore.gas.speed_of_sound import nearest

#: CIPM-2007, section 2: 15 to 27 °C, 600 to 1100 hPa (from memory), and vapour as far as that allows.
_DEGC: Final = (15.0, 27.0)
_PA: Final = (60_000.0, 110_000.0)
_WATER: Final = (0.0, 0.06)


def compressibility(*, temp_degc: Scalar, water: Scalar, pressure_pa: float) -> Scalar:
    """Z, by how much moist air takes less room than an ideal gas; about 0.9996 (CIPM-2007, eq. A1.4).

    `temp_degc` in °C, `pressure_pa` in Pa; meant for 15 to 27 °C and 60 to 110 kPa, unchecked.
    Guarded by `tests/published/test_air.py`.
    """
    t, x = temp_degc, water
    over = pressure_pa / (t + ZERO_DEGC_K)
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2  # a0 a1 a2
    mixed = (5.707e-6 - 2.051e-8 * t) * x  # b0 b1
    vapour = (1.9898e-4 - 2.376e-6 * t) * x**2  # c0 c1
    return 1 - over * (first + mixed + vapour) + over**2 * (1.83e-11 - 0.765e-8 * x**2)  # d e


def density_kg_m3(*, temp_degc: Scalar, water: Scalar, co2: float, pressure_pa: float) -> Scalar:
    """Density of moist air or breath, kg/m³.

    CIPM-2007 in its range. Outside, the ideal mixture of the same mole masses, over the compressibility at
    the nearest point of the range: no jump; the derivative by temperature jumps by less than 0.6 % of itself.
    More carbon dioxide than in a room only changes the mole mass: its own non-ideality (0.02 % at 4 %) is
    neglected. `temp_degc` -10 to 50 °C, `pressure_pa` 50 to 130 kPa, `water` and `co2` up to about 0.12
    and 0.1, unchecked. Guarded by `tests/published/test_air.py` and `tests/invariants/test_air.py`.
    """
    z = compressibility(
        temp_degc=nearest(temp_degc, *_DEGC),
        water=nearest(water, *_WATER),
        pressure_pa=nearest(pressure_pa, *_PA),
    )
    return _ideal_kg_m3(temp_degc, water, co2, pressure_pa) / z


def _ideal_kg_m3(temp_degc: Scalar, water: Scalar, co2: float, pressure_pa: float) -> Scalar:
    mass = molar_mass_kg_mol(water=water, co2=co2)
    return pressure_pa * mass / (GAS_CONSTANT * (temp_degc + ZERO_DEGC_K))
