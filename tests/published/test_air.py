"""Air against numbers from outside: speed, density, saturation, breath, viscosity and conductivity."""

from __future__ import annotations

import math

import pytest

from canebench.bore.gas.air import BREATH, Conditions, air_at
from canebench.bore.gas.density import density_kg_m3
from canebench.bore.gas.humidity import (
    enhancement,
    saturation_pa,
    water_fraction,
)
from canebench.bore.gas.mixture import conductivity_w_mk, ideal_speed_m_s, viscosity_pa_s
from canebench.bore.gas.speed_of_sound import cramer_speed_m_s, speed_m_s
from support.air_formulas import (
    cipm_density_kg_m3,
    cramer_saturation_pa,
    in_cipm_range,
    iso9613_saturation_pa,
    iso9613_speed_m_s,
)
from support.datasets import published

_CRAMER = published("cramer")
_ISO = published("iso9613")
_CIPM = published("cipm2007")
_BREATH = published("breath")
_TABLES = published("air_tables")
_STEAM = published("steam_tables")
#: Mole masses of water and of dry air, for a rule of mixture that is not the package's.
_WATER_KG_MOL, _AIR_KG_MOL = 18.015e-3, 28.965e-3


def _numbers(row: dict[str, str]) -> dict[str, float]:
    return {key: float(value) for key, value in row.items() if key != "book"}


def _cents(faster: float, slower: float) -> float:
    return 1200 * math.log2(faster / slower)


@pytest.mark.parametrize("row", _CRAMER.rows)
def test_speed_of_cramer(row: dict[str, str]) -> None:
    """His eq. 15 with his own saturation pressure, to the last digit; ours moves it by 0.002 m/s at most."""
    given = _numbers(row)
    true_m_s, co2, pressure_pa = given["speed_m_s"], given["co2"], given["pressure_pa"]
    temp_degc, humidity = given["temp_degc"], given["humidity"]
    ours_water = water_fraction(temp_degc=temp_degc, humidity=humidity, pressure_pa=pressure_pa)
    water = ours_water * cramer_saturation_pa(temp_degc) / saturation_pa(temp_degc)
    found = cramer_speed_m_s(temp_degc=temp_degc, water=water, co2=co2, pressure_pa=pressure_pa)
    assert found == pytest.approx(true_m_s, abs=_CRAMER.number("speed_uncertainty_m_s"))
    ours = air_at(Conditions(temp_degc=temp_degc, humidity=humidity, co2=co2, pressure_pa=pressure_pa))
    assert ours.speed_m_s == pytest.approx(true_m_s, abs=0.002)


@pytest.mark.parametrize("row", _CRAMER.rows)
def test_control_known_misprints_of_cramers_equation_are_seen(row: dict[str, str]) -> None:
    """A wrong sign of a13 or 400^-6 for the CO2, as found in public codes, fails the gate above."""
    given = _numbers(row)
    gate_m_s = _CRAMER.number("speed_uncertainty_m_s")
    assert 2 * 2.15e-13 * given["pressure_pa"] ** 2 > 20 * gate_m_s
    dry = {"temp_degc": given["temp_degc"], "water": 0.0, "pressure_pa": given["pressure_pa"]}
    right, wrong = (cramer_speed_m_s(**dry, co2=co2) for co2 in (given["co2"], 400**-6))
    assert abs(right - wrong) > 20 * gate_m_s


@pytest.mark.parametrize("row", _ISO.rows)
def test_speed_and_saturation_of_iso_9613(row: dict[str, str]) -> None:
    given = _numbers(row)
    found_m_s, found_pa = iso9613_speed_m_s(given["temp_degc"]), iso9613_saturation_pa(given["temp_degc"])
    assert found_m_s == pytest.approx(given["speed_m_s"], abs=_ISO.number("speed_uncertainty_m_s"))
    assert found_pa == pytest.approx(given["saturation_pa"], abs=_ISO.number("saturation_uncertainty_pa"))


@pytest.mark.parametrize("row", _ISO.rows)
def test_iso_9613_and_cramer_agree_on_dry_air(row: dict[str, str]) -> None:
    """Two published ways to one number, each within about 300 ppm."""
    given = _numbers(row)
    dry = air_at(Conditions(temp_degc=given["temp_degc"], humidity=0.0, co2=0.0004))
    assert dry.speed_m_s == pytest.approx(given["speed_m_s"], rel=2 * _CRAMER.number("relative_uncertainty"))


@pytest.mark.parametrize("row", _CIPM.rows)
def test_density_of_cipm_2007(row: dict[str, str]) -> None:
    """To the last digit; at 30 °C, outside its range, what we use stays within 50 ppm of it extrapolated."""
    given = _numbers(row)
    true_kg_m3 = given.pop("density_kg_m3")
    ours = air_at(Conditions(**given))
    water = water_fraction(
        temp_degc=given["temp_degc"], humidity=given.pop("humidity"), pressure_pa=given["pressure_pa"]
    )
    found = cipm_density_kg_m3(water=water, **given)
    assert found == pytest.approx(true_kg_m3, abs=_CIPM.number("density_uncertainty_kg_m3"))
    carried_on = density_kg_m3(water=water, **given)
    assert carried_on == ours.density_kg_m3
    if in_cipm_range(temp_degc=given["temp_degc"], pressure_pa=given["pressure_pa"]):
        assert carried_on == pytest.approx(found, rel=1e-14)
    assert carried_on == pytest.approx(true_kg_m3, rel=50e-6)


def test_saturation_of_cipm_2007() -> None:
    for point in _CIPM.source["saturation"]:
        found = saturation_pa(point["temp_degc"])
        assert found == pytest.approx(point["pa"], abs=_CIPM.number("saturation_uncertainty_pa"))


@pytest.mark.parametrize("row", _STEAM.rows)
def test_saturation_agrees_with_the_steam_tables(row: dict[str, str]) -> None:
    """Within 0.1 %, also beyond the formula's own range; the two others within 0.3 %."""
    given = _numbers(row)
    temp_degc, true_pa = given["temp_degc"], given["saturation_pa"]
    assert saturation_pa(temp_degc) == pytest.approx(true_pa, rel=_STEAM.number("relative_uncertainty"))
    assert iso9613_saturation_pa(temp_degc) == pytest.approx(true_pa, rel=0.003)
    if temp_degc <= 30:
        assert cramer_saturation_pa(temp_degc) == pytest.approx(true_pa, rel=0.001)


def test_enhancement_is_what_it_is_said_to_be() -> None:
    """About 1.004 at one atmosphere, and from 1.002 to 1.006 over the conditions asked of it."""
    assert enhancement(20.0, 101_325.0) == pytest.approx(1.00062 + 0.00318 + 0.00022, abs=1e-5)
    assert enhancement(0.0, 50_000.0) == pytest.approx(1.002, abs=0.0005)
    assert enhancement(50.0, 130_000.0) == pytest.approx(1.006, abs=0.0005)


@pytest.mark.parametrize("row", _BREATH.rows)
def test_speed_in_breath(row: dict[str, str]) -> None:
    """The ideal mixture to its gate; the speed in use above it by a real gas; the body's oxygen allowed."""
    given = _numbers(row)
    temp_degc, pressure_pa = given["temp_degc"], _BREATH.number("pressure_pa")
    wet = water_fraction(temp_degc=temp_degc, humidity=1.0, pressure_pa=pressure_pa)
    columns = {
        "dry": (0.0, 0.0004),
        "saturated": (wet, 0.0004),
        "breath4": (wet, 0.04),
        "breath5": (wet, 0.05),
    }
    for name, (water, co2) in columns.items():
        true_m_s = given[f"{name}_m_s"]
        ideal = ideal_speed_m_s(temp_degc=temp_degc, water=water, co2=co2)
        assert ideal == pytest.approx(true_m_s, abs=_BREATH.number("speed_uncertainty_m_s"))
        used = speed_m_s(temp_degc=temp_degc, water=water, co2=co2, pressure_pa=pressure_pa)
        assert 0 < used - ideal < _BREATH.number("real_gas_m_s")
        if body_m_s := given.get(f"{name}_body_m_s"):
            assert 0 < body_m_s - ideal < _BREATH.number("body_m_s")


@pytest.mark.parametrize("row", _BREATH.rows)
def test_what_breath_does_in_cents(row: dict[str, str]) -> None:
    """Carbon dioxide alone flattens by about 4 cents for each per cent."""
    temp_degc = float(row["temp_degc"])
    room = air_at(Conditions(temp_degc=temp_degc, humidity=1.0, co2=0.0004))
    for co2, true_cents in zip((0.04, 0.05), _BREATH.source["gas_change_cents"], strict=True):
        breath = air_at(Conditions(temp_degc=temp_degc, humidity=1.0, co2=co2))
        found = _cents(breath.speed_m_s, room.speed_m_s)
        assert found == pytest.approx(true_cents, abs=_BREATH.number("gas_change_uncertainty_cents"))


def test_the_breath_we_assume_is_between_the_tables_rows() -> None:
    speeds = {float(row["temp_degc"]): float(row["breath4_m_s"]) for row in _BREATH.rows}
    assert speeds[25.0] < air_at(BREATH).speed_m_s < speeds[30.0]


@pytest.mark.parametrize("row", _TABLES.rows)
def test_dry_air_of_the_textbooks(row: dict[str, str]) -> None:
    """Density, heat, viscosity and conductivity, within what the books differ by."""
    given = _numbers(row)
    air = air_at(Conditions(temp_degc=given["temp_degc"], humidity=0.0, co2=0.0004))
    gate_kg_m3 = _TABLES.number("density_uncertainty_kg_m3") if row["book"] == "Fishenden" else 0.0005
    gate_kg_m3 += _TABLES.number("density_relative") * given["density_kg_m3"]
    assert air.density_kg_m3 == pytest.approx(given["density_kg_m3"], abs=gate_kg_m3)
    for field, gate in (
        ("heat_capacity_j_kgk", "heat_relative"),
        ("viscosity_pa_s", "viscosity_relative"),
        ("conductivity_w_mk", "conductivity_relative"),
    ):
        assert getattr(air, field) == pytest.approx(given[field], rel=_TABLES.number(gate))


def test_viscosity_of_moist_air_by_another_rule_of_mixture() -> None:
    """Wilke 1950 (J. Chem. Phys. 18:517, eq. 14; from memory) with a handbook's vapour, within 1 %."""
    vapour = _TABLES.source["vapour"]
    temp_degc, water = vapour["temp_degc"], vapour["water"]
    dry = next(
        float(row["viscosity_pa_s"]) for row in _TABLES.rows if float(row["temp_degc"]) == vapour["temp_degc"]
    )
    mixed = _wilke(dry, vapour["viscosity_pa_s"], dry, vapour["viscosity_pa_s"], water)
    ours = viscosity_pa_s(temp_degc=temp_degc, water=water, co2=0.0004)
    assert ours == pytest.approx(mixed, rel=0.01)
    assert viscosity_pa_s(temp_degc=temp_degc, water=1.0, co2=0.0004) == pytest.approx(
        vapour["viscosity_pa_s"], rel=0.005
    )


def test_conductivity_of_moist_air_by_another_rule_of_mixture() -> None:
    """Mason & Saxena 1958 without their factor 1.065, that is Wilke's weights, within 1 %."""
    temp_degc, water = 30.0, 0.0421
    pure = {
        name: (
            conductivity_w_mk(temp_degc=temp_degc, water=share, co2=0.0004),
            viscosity_pa_s(temp_degc=temp_degc, water=share, co2=0.0004),
        )
        for name, share in (("air", 0.0), ("vapour", 1.0))
    }
    mixed = _wilke(pure["air"][0], pure["vapour"][0], pure["air"][1], pure["vapour"][1], water)
    assert conductivity_w_mk(temp_degc=temp_degc, water=water, co2=0.0004) == pytest.approx(mixed, rel=0.01)


def _wilke(air: float, vapour: float, air_pa_s: float, vapour_pa_s: float, water: float) -> float:
    """Two gases' property by Wilke's weights, which he takes from their viscosities and masses."""

    def weight(one_pa_s: float, other_pa_s: float, one_kg: float, other_kg: float) -> float:
        top = (1 + math.sqrt(one_pa_s / other_pa_s) * (other_kg / one_kg) ** 0.25) ** 2
        return float(top / math.sqrt(8 * (1 + one_kg / other_kg)))

    in_vapour = weight(air_pa_s, vapour_pa_s, _AIR_KG_MOL, _WATER_KG_MOL)
    in_air = weight(vapour_pa_s, air_pa_s, _WATER_KG_MOL, _AIR_KG_MOL)
    dry = 1 - water
    return dry * air / (dry + water * in_vapour) + water * vapour / (water + dry * in_air)
