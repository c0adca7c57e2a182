"""Losses at the wall: Bessel functions against SciPy's, and the limits of narrow and wide tubes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.special import ive

from canebench.bore.autodiff import variables
from canebench.bore.losses import bessel_ratio, line, share
from support.bores import BREATH, LOSSLESS

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray

#: Sizes of the argument, and its angle: pi/4 is what tubes ask for, down to 0.
_SIZES = np.geomspace(0.05, 300.0, 1_500)
_ANGLES = (0.0, np.pi / 8, np.pi / 4)
#: What `bessel_ratio` promises.
_PROMISED = 1e-7


def _true_ratio(s: ComplexArray) -> ComplexArray:
    return np.asarray(ive(1, s) / ive(0, s), dtype=complex)


def _series_alone(s: ComplexArray) -> ComplexArray:
    """Control: the first terms of the asymptotic series, where they are not good enough."""
    return np.asarray(1 - 1 / (2 * s) - 1 / (8 * s**2) - 1 / (8 * s**3))


@pytest.mark.parametrize("angle", _ANGLES)
def test_ratio_of_bessel_functions_is_scipys(angle: float) -> None:
    """From 0.05 to 300; four terms of the asymptotic series are seen to fail (control)."""
    s = _SIZES * np.exp(1j * angle)
    assert np.max(np.abs(bessel_ratio(s) - _true_ratio(s))) <= _PROMISED
    assert np.max(np.abs(_series_alone(s) - _true_ratio(s))) > _PROMISED


@pytest.mark.parametrize("angle", _ANGLES)
def test_ratio_has_no_step_where_the_method_changes(angle: float) -> None:
    around = np.exp(1j * angle) * np.array([12.0 * (1 - 1e-9), 12.0 * (1 + 1e-9)])
    assert abs(np.diff(bessel_ratio(around))[0]) <= 2 * _PROMISED


@pytest.mark.parametrize("angle", _ANGLES)
def test_derivative_of_the_ratio(angle: float) -> None:
    """As R' = 1 - R^2 - R/s with SciPy's R, and as the difference quotient of SciPy's R.

    Control: without its last term the Riccati equation is another.
    """
    s = np.geomspace(0.05, 300.0, 200) * np.exp(1j * angle)
    (tangent,) = variables(s)
    found = bessel_ratio(tangent).by[0]
    ratio = _true_ratio(s)
    # An error e of R is one of 2 R e + e/s of R'.
    gate = _PROMISED * (2 * np.abs(ratio) + 1 / np.abs(s))
    assert np.all(np.abs(found - (1 - ratio**2 - ratio / s)) <= gate)
    step = 1e-5 * s
    quotient = (_true_ratio(s + step) - _true_ratio(s - step)) / (2 * step)
    assert np.all(np.abs(found - quotient) <= gate + 1e-8)
    assert np.any(np.abs(found - (1 - ratio**2)) > 1e-2)


def test_narrow_tube_is_poiseuilles() -> None:
    """Z' -> 8 mu / (pi r^4): viscous flow; the difference falls as the fourth power of the radius."""
    viscosity_pa_s = BREATH.viscosity_m2_s * BREATH.density_kg_m3
    omega = 2 * np.pi * 50.0
    errors = []
    for radius_m in (40e-6, 20e-6):
        series, _ = line(np.array([radius_m]), omega, BREATH)
        poiseuille = 8 * viscosity_pa_s / (np.pi * radius_m**4)
        errors.append(abs(series[0].real / poiseuille - 1))
        assert errors[-1] < 1e-4
    assert errors[0] / errors[1] == pytest.approx(16.0, rel=0.01)
    # Control: a tube as wide as a chanter's throat is nothing of the kind.
    wide, _ = line(np.array([2e-3]), 2 * np.pi * 480.0, BREATH)
    assert wide[0].real * np.pi * 2e-3**4 / (8 * viscosity_pa_s) > 2


def test_narrow_tube_carries_a_third_more_mass() -> None:
    """Im Z' -> 4/3 omega rho / S: the parabola of a viscous flow (1/(1-F) = 8/s^2 + 4/3 + ...)."""
    omega, radius_m = 2 * np.pi * 50.0, 20e-6
    series, _ = line(np.array([radius_m]), omega, BREATH)
    plug = omega * BREATH.density_kg_m3 / (np.pi * radius_m**2)
    assert series[0].imag / plug == pytest.approx(4 / 3, rel=1e-3)


def test_wide_tube_is_a_plug_with_a_thin_layer() -> None:
    """Z' -> j omega rho / S (1 + 2/s), Y' -> j omega S/(rho c^2) (1 + (gamma - 1) 2/s), to order 1/s^2.

    Control: without the layers they are not.
    """
    omega, radius_m = 2 * np.pi * 2_000.0, 20e-3
    area = np.pi * radius_m**2
    series, shunt = (part[0] for part in line(np.array([radius_m]), omega, BREATH))
    viscous = radius_m * np.sqrt(1j * omega / BREATH.viscosity_m2_s)
    thermal = radius_m * np.sqrt(1j * omega / BREATH.diffusivity_m2_s)
    mass = series / (1j * omega * BREATH.density_kg_m3 / area)
    spring = shunt / (1j * omega * area / BREATH.stiffness_pa)
    second = 4 / abs(thermal) ** 2
    assert abs(mass - (1 + 2 / viscous)) < second
    assert abs(spring - (1 + (BREATH.gamma - 1) * 2 / thermal)) < second
    assert abs(mass - 1) > 10 * second
    assert abs(spring - 1) > 10 * second


def test_narrow_tube_is_isothermal() -> None:
    """Y' -> j omega S gamma / (rho c^2): the wall keeps the temperature; a wide one is adiabatic."""
    omega, radius_m = 2 * np.pi * 50.0, 10e-6
    _, shunt = line(np.array([radius_m]), omega, BREATH)
    spring = shunt[0] / (1j * omega * np.pi * radius_m**2 / BREATH.stiffness_pa)
    assert spring == pytest.approx(BREATH.gamma, rel=1e-3)
    _, wide = line(np.array([1.0]), omega, BREATH)
    assert wide[0] / (1j * omega * np.pi / BREATH.stiffness_pa) == pytest.approx(1.0, abs=1e-3)


def test_without_viscosity_and_conduction_nothing_is_lost() -> None:
    omega, radius_m = 2 * np.pi * 480.0, 4e-3
    series, shunt = line(np.array([radius_m]), omega, LOSSLESS)
    area = np.pi * radius_m**2
    assert series[0] == pytest.approx(1j * omega * LOSSLESS.density_kg_m3 / area, rel=1e-9)
    assert shunt[0] == pytest.approx(1j * omega * area / LOSSLESS.stiffness_pa, rel=1e-9)


def test_a_layer_twice_as_thick_is_a_tube_half_as_wide() -> None:
    """The share F depends on radius over layer alone; a scale of 1 changes nothing (control)."""
    omega = 2 * np.pi * 480.0
    rough = replace(BREATH, layer_scale=2.0)
    shares = []
    for radius_m, medium in ((4e-3, rough), (2e-3, BREATH), (4e-3, BREATH)):
        series, _ = line(np.array([radius_m]), omega, medium)
        shares.append(1 - 1j * omega * medium.density_kg_m3 / (np.pi * radius_m**2) / series[0])
    assert shares[0] == pytest.approx(shares[1], rel=1e-9)
    assert abs(shares[2] / shares[1] - 1) > 0.3


def test_share_is_all_of_a_narrow_tube_and_little_of_a_wide_one() -> None:
    s = np.exp(0.25j * np.pi) * np.array([0.05, 300.0])
    narrow, wide = share(s)
    assert narrow == pytest.approx(1.0, abs=1e-3)
    assert abs(wide) == pytest.approx(2 / 300.0, rel=0.01)
