"""What holds for any air: how it changes with temperature and water, where formulas meet, what is refused."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.bore.gas.air import BREATH, Air, Conditions, air_at, air_per_degc
from canebench.bore.gas.density import compressibility
from canebench.bore.gas.humidity import water_fraction
from canebench.bore.gas.mixture import ideal_speed_m_s, molar_heat
from canebench.bore.gas.speed_of_sound import cramer_speed_m_s, nearest

_FIELDS = tuple(field.name for field in dataclasses.fields(Air))
#: Where a formula gives over to another, °C.
_BORDERS_DEGC = (0.0, 15.0, 27.0, 30.0)
#: The steps of derivatives at those borders, as told by the docstrings.
_KINK = 0.005

_CONDITIONS = st.builds(
    Conditions,
    temp_degc=st.floats(-10.0, 50.0),
    humidity=st.floats(0.0, 1.0),
    co2=st.floats(0.0, 0.1),
    pressure_pa=st.floats(50_000.0, 130_000.0),
)
_AT_BORDERS = st.builds(
    Conditions,
    temp_degc=st.sampled_from(_BORDERS_DEGC),
    humidity=st.floats(0.0, 1.0),
    co2=st.floats(0.0, 0.05),
    pressure_pa=st.floats(75_000.0, 115_000.0),
)
#: Cramér's published range: even saturated, the warmest and thinnest of it holds less than 0.06 of vapour.
_CRAMERS = st.builds(
    Conditions,
    temp_degc=st.floats(0.0, 30.0),
    humidity=st.floats(0.0, 1.0),
    co2=st.floats(0.0, 0.01),
    pressure_pa=st.floats(75_000.0, 102_000.0),
)


def _water(conditions: Conditions) -> float:
    return water_fraction(
        temp_degc=conditions.temp_degc, humidity=conditions.humidity, pressure_pa=conditions.pressure_pa
    )


def _warmer(conditions: Conditions, by_degc: float) -> Conditions:
    return dataclasses.replace(conditions, temp_degc=conditions.temp_degc + by_degc)


@given(conditions=_CONDITIONS)
def test_every_property_is_a_plain_positive_number(conditions: Conditions) -> None:
    air = air_at(conditions)
    for name in _FIELDS:
        assert type(getattr(air, name)) is float
        assert getattr(air, name) > 0
    assert 1.3 < air.gamma < 1.41
    assert air.viscosity_m2_s == air.viscosity_pa_s / air.density_kg_m3
    assert air.diffusivity_m2_s * air.density_kg_m3 * air.heat_capacity_j_kgk == pytest.approx(
        air.conductivity_w_mk
    )
    assert air.stiffness_pa == pytest.approx(air.gamma * conditions.pressure_pa, rel=0.003)
    assert 0.65 < air.viscosity_m2_s / air.diffusivity_m2_s < 0.8


@given(conditions=_CONDITIONS)
def test_sound_is_faster_and_air_lighter_when_warmer(conditions: Conditions) -> None:
    assume(conditions.temp_degc < 49)
    cold, warm = air_at(conditions), air_at(_warmer(conditions, 1.0))
    assert 0.4 < warm.speed_m_s - cold.speed_m_s < 1.7
    assert warm.density_kg_m3 < cold.density_kg_m3
    per_degc = air_per_degc(conditions)
    assert per_degc.speed_m_s > 0
    assert per_degc.density_kg_m3 < 0


@given(conditions=_CONDITIONS)
def test_the_derivative_is_the_central_difference(conditions: Conditions) -> None:
    """To 1e-6 away from borders, of temperature or of vapour."""
    step_degc = 1e-3
    assume(abs(conditions.temp_degc) < 49)
    assume(conditions.temp_degc > -9.9)
    assume(all(abs(conditions.temp_degc - border) > 2 * step_degc for border in _BORDERS_DEGC))
    assume(abs(_water(conditions) - 0.06) > 1e-4)
    above, below = air_at(_warmer(conditions, step_degc)), air_at(_warmer(conditions, -step_degc))
    exact, here = air_per_degc(conditions), air_at(conditions)
    for name in _FIELDS:
        difference = (getattr(above, name) - getattr(below, name)) / (2 * step_degc)
        rounding = 1e-12 * getattr(here, name) / step_degc
        assert getattr(exact, name) == pytest.approx(difference, rel=1e-6, abs=rounding)


def test_control_holding_the_vapour_instead_of_the_humidity_is_seen() -> None:
    """Saturated at 27 °C the vapour that comes with warmth gives a seventh of the change of speed."""
    water, co2 = _water(BREATH), BREATH.co2
    held = ideal_speed_m_s(temp_degc=complex(27.0, 1e-30), water=complex(water), co2=co2).imag / 1e-30
    assert air_per_degc(BREATH).speed_m_s / held > 1.1


@given(conditions=_CONDITIONS, drier=st.floats(0.0, 0.9))
def test_humid_air_is_lighter_and_faster(conditions: Conditions, drier: float) -> None:
    assume(conditions.humidity > 0.01)
    dry = dataclasses.replace(conditions, humidity=conditions.humidity * drier)
    assert air_at(conditions).density_kg_m3 < air_at(dry).density_kg_m3
    assert air_at(conditions).speed_m_s > air_at(dry).speed_m_s


@given(conditions=_CONDITIONS, more=st.floats(0.001, 0.05))
def test_carbon_dioxide_makes_air_heavier_and_slower(conditions: Conditions, more: float) -> None:
    """By about 4 cents for each per cent."""
    assume(conditions.co2 + more <= 0.1)
    fresh, stale = air_at(conditions), air_at(dataclasses.replace(conditions, co2=conditions.co2 + more))
    assert stale.density_kg_m3 > fresh.density_kg_m3
    assert -500 < 1200 * math.log2(stale.speed_m_s / fresh.speed_m_s) / more < -350


@given(conditions=_AT_BORDERS)
def test_formulas_meet_without_a_jump_and_with_a_small_kink(conditions: Conditions) -> None:
    """A millionth of a degree on either side of each border."""
    inner, outer = _warmer(conditions, -1e-6), _warmer(conditions, 1e-6)
    for name in _FIELDS:
        assert getattr(air_at(outer), name) == pytest.approx(getattr(air_at(inner), name), rel=1e-6)
    for name in ("speed_m_s", "density_kg_m3"):
        one, other = getattr(air_per_degc(inner), name), getattr(air_per_degc(outer), name)
        assert one == pytest.approx(other, rel=_KINK)


@pytest.mark.parametrize("pressure_pa", [50e3, 75e3, 101_325.0, 130e3])
@pytest.mark.parametrize("co2", [0.0, 0.04, 0.1])
def test_where_the_vapour_passes_cramers_range_the_kink_is_as_told(pressure_pa: float, co2: float) -> None:
    """1.3 % of the derivative of speed, 0.6 % of that of density, and no jump."""
    low_degc, high_degc = 0.0, 50.0
    for _ in range(30):
        middle_degc = (low_degc + high_degc) / 2
        wet = water_fraction(temp_degc=middle_degc, humidity=1.0, pressure_pa=pressure_pa) > 0.06
        low_degc, high_degc = (low_degc, middle_degc) if wet else (middle_degc, high_degc)
    inner, outer = (
        Conditions(temp_degc=temp_degc, humidity=1.0, co2=co2, pressure_pa=pressure_pa)
        for temp_degc in (low_degc, high_degc)
    )
    assert air_at(inner).speed_m_s == pytest.approx(air_at(outer).speed_m_s, rel=1e-8)
    one, other = air_per_degc(inner), air_per_degc(outer)
    assert 0.01 < abs(one.speed_m_s / other.speed_m_s - 1) < 0.0135
    assert abs(one.density_kg_m3 / other.density_kg_m3 - 1) < 0.006


@given(temp_degc=st.sampled_from((0.0, 10.0, 20.0, 30.0)), humidity=st.floats(0.0, 0.9))
def test_other_borders_of_cramers_range_do_not_jump_either(temp_degc: float, humidity: float) -> None:
    """Carbon dioxide at 0.01, pressure at 75 and 102 kPa."""
    for low, high in (
        ({"co2": 0.01 - 1e-9}, {"co2": 0.01 + 1e-9}),
        ({"co2": 0.0, "pressure_pa": 75e3 - 1e-3}, {"co2": 0.0, "pressure_pa": 75e3 + 1e-3}),
        ({"co2": 0.0, "pressure_pa": 102e3 - 1e-3}, {"co2": 0.0, "pressure_pa": 102e3 + 1e-3}),
    ):
        one = air_at(Conditions(temp_degc=temp_degc, humidity=humidity, **low))
        other = air_at(Conditions(temp_degc=temp_degc, humidity=humidity, **high))
        assert one.speed_m_s == pytest.approx(other.speed_m_s, rel=1e-8)


def test_how_far_cramer_and_the_ideal_mixture_are_apart() -> None:
    """0.2 to 0.7 cents over his range, as the docstrings say: control, the jump that is avoided is real."""
    apart = []
    for temp_degc in np.linspace(0.0, 30.0, 7).tolist():
        for pressure_pa in (75e3, 101_325.0, 102e3):
            for co2 in (0.0, 0.0004, 0.01):
                for humidity in (0.0, 0.5, 1.0):
                    water = water_fraction(temp_degc=temp_degc, humidity=humidity, pressure_pa=pressure_pa)
                    ideal = ideal_speed_m_s(temp_degc=temp_degc, water=water, co2=co2)
                    real = cramer_speed_m_s(
                        temp_degc=temp_degc, water=water, co2=co2, pressure_pa=pressure_pa
                    )
                    apart.append(1200 * math.log2(real / ideal))
    assert min(apart) == pytest.approx(0.2, abs=0.05)
    assert max(apart) == pytest.approx(0.7, abs=0.05)


@given(conditions=_CRAMERS)
def test_inside_cramers_range_the_speed_is_his(conditions: Conditions) -> None:
    known = {
        "temp_degc": conditions.temp_degc,
        "water": _water(conditions),
        "pressure_pa": conditions.pressure_pa,
        "co2": conditions.co2,
    }
    assert air_at(conditions).speed_m_s == pytest.approx(cramer_speed_m_s(**known), rel=1e-14)


def test_the_nearest_point_carries_a_derivative_only_inside() -> None:
    assert nearest(complex(5.0, 1e-30), 0.0, 30.0) == complex(5.0, 1e-30)
    assert nearest(complex(31.0, 1e-30), 0.0, 30.0) == 30.0
    assert nearest(complex(-1.0, 1e-30), 0.0, 30.0) == 0.0


def test_a_real_and_a_complex_temperature_give_one_number() -> None:
    for t in (-10.0, 0.0, 20.0, 50.0):
        assert complex(molar_heat(temp_degc=complex(t), water=complex(0.01), co2=0.04)).real == pytest.approx(
            molar_heat(temp_degc=t, water=0.01, co2=0.04), rel=1e-14
        )
        assert compressibility(temp_degc=t, water=0.01, pressure_pa=1e5) == pytest.approx(0.9995, abs=0.0006)


def test_0_degc_is_a_temperature_and_0_a_humidity() -> None:
    """Neither falls to a default: a freezing bore is 12 m/s slower than a room. A whole number will do."""
    freezing = Conditions(temp_degc=0, humidity=0, co2=0)
    assert (freezing.temp_degc, freezing.humidity, freezing.co2) == (0, 0, 0)
    assert air_at(freezing) == air_at(Conditions(temp_degc=0.0, humidity=0.0, co2=0.0))
    room = air_at(Conditions(temp_degc=20.0, humidity=0.0, co2=0.0))
    assert room.speed_m_s - air_at(freezing).speed_m_s == pytest.approx(12, abs=0.5)
    assert air_per_degc(freezing).speed_m_s == pytest.approx(0.606, abs=0.005)


def test_what_changes_the_pitch_has_no_default() -> None:
    for field in dataclasses.fields(Conditions):
        has_none = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
        assert has_none == (field.name != "pressure_pa")


@pytest.mark.parametrize(
    ("slip", "said", "meant"),
    [
        ({"temp_degc": 300.0}, r"^temperature: 300 °C .* from -10 to 50 °C", "26.85 °C, if 300 K"),
        ({"temp_degc": 68.0}, r"^temperature: 68 °C .* from -10 to 50 °C", "20 °C, if 68 °F"),
        ({"temp_degc": -40.0}, r"^temperature: -40 °C .* from -10 to 50 °C", "-10 °C"),
        ({"humidity": 65.0}, r"^relative humidity: 65 .* from 0 to 1 ", "0.65, if 65 %"),
        ({"humidity": 1.2}, r"^relative humidity: 1.2 .* from 0 to 1 ", "1"),
        ({"humidity": -0.1}, r"^relative humidity: -0.1 .* from 0 to 1 ", "0"),
        ({"co2": 4.0}, r"^carbon dioxide .*: 4 .* from 0 to 0.1 ", "0.04, if 4 %"),
        ({"co2": 400.0}, r"^carbon dioxide .*: 400 .* from 0 to 0.1 ", "0.0004, if 400 ppm"),
        ({"pressure_pa": 1013.0}, r"^pressure: 1013 Pa .* from 50000 to 130000 Pa", "101300 Pa, if 1013 hPa"),
        (
            {"pressure_pa": 101.3},
            r"^pressure: 101.3 Pa .* from 50000 to 130000 Pa",
            "101300 Pa, if 101.3 kPa",
        ),
        ({"pressure_pa": 1.01}, r"^pressure: 1.01 Pa .* from 50000 to 130000 Pa", "101000 Pa, if 1.01 bar"),
        ({"pressure_pa": 5e5}, r"^pressure: 500000 Pa .* from 50000 to 130000 Pa", "130000 Pa"),
    ],
)
def test_a_slip_is_named_with_its_range_and_what_was_likely_meant(
    slip: dict[str, float], said: str, meant: str
) -> None:
    right = {"temp_degc": 20.0, "humidity": 0.5, "co2": 0.0004}
    with pytest.raises(InputError, match=said) as caught:
        Conditions(**{**right, **slip})
    assert caught.value.nearest is not None
    assert caught.value.nearest.startswith(meant)


@pytest.mark.parametrize("field", ["temp_degc", "humidity", "co2", "pressure_pa"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused_without_a_guess(field: str, value: float) -> None:
    right = {"temp_degc": 20.0, "humidity": 0.5, "co2": 0.0004}
    with pytest.raises(InputError, match="is allowed") as caught:
        Conditions(**{**right, field: value})
    assert caught.value.nearest is None
