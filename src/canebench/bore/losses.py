"""Visco-thermal losses in a narrow tube: series impedance and shunt admittance per metre.

Zwikker & Kosten 1949, *Sound Absorbing Materials*, as given by Chaigne & Kergomard 2016, *Acoustics of
Musical Instruments*, eqs. (5.132)-(5.134). With s = r sqrt(j omega / nu) and F(s) = 2 I1(s) / (s I0(s)),

    Z' = j omega rho / S / (1 - F(s_v)),      Y' = j omega S / (rho c^2) (1 + (gamma - 1) F(s_t)),

nu being the kinematic viscosity for s_v and the thermal diffusivity for s_t. All formulas take arrays or
tangents. Guarded by `tests/published/test_losses.py` and `tests/analytic/test_losses.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.bore.autodiff import Number, Tangent, through

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray

#: From here up the asymptotic series is good to 1e-7; below, the continued fraction is used.
_FAR: Final = 12.0
_TERMS: Final = 10
_DEPTH: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Medium:
    """The air as the wave feels it, with how rough the wall is.

    `layer_scale` multiplies the thickness of the boundary layers: 1 for a smooth wall, more for a rough or
    porous one. Fields are numbers, or tangents where derivatives by the air are wanted.
    """

    density_kg_m3: Number
    stiffness_pa: Number
    viscosity_m2_s: Number
    diffusivity_m2_s: Number
    gamma: Number
    layer_scale: Number = 1.0


def line(radius_m: Number, omega: Number, medium: Medium) -> tuple[Number, Number]:
    """Series impedance (Pa s/m^4) and shunt admittance (m^2/(Pa s)) per metre of tube.

    Parameters
    ----------
    radius_m : array or tangent
        Radius of the tube, metres.
    omega : array or tangent
        Angular frequency, rad/s; the two are broadcast against each other.
    medium : Medium
        The air.
    """
    root = (1j * omega) ** 0.5
    viscous = share(radius_m * (root / (medium.viscosity_m2_s**0.5 * medium.layer_scale)))
    thermal = share(radius_m * (root / (medium.diffusivity_m2_s**0.5 * medium.layer_scale)))
    area = np.pi * (radius_m * radius_m)
    series = (1j * omega * medium.density_kg_m3) / (area * (1 - viscous))
    shunt = (1j * omega / medium.stiffness_pa) * area * (1 + (medium.gamma - 1) * thermal)
    return series, shunt


def share(stokes: Number) -> Number:
    """F(s) = 2 I1(s) / (s I0(s)): the share of the section that the boundary layer takes."""
    ratio = bessel_ratio(stokes)
    return 2 * ratio / stokes


def bessel_ratio(s: Number) -> Number:
    """I1(s) / I0(s) for |arg s| <= pi/4, to 1e-7 (near |s| = 12; elsewhere better).

    The ratio R obeys R' = 1 - R^2 - R/s (from Abramowitz & Stegun 1964, 9.6.26), which gives both the
    coefficients of its asymptotic series and its derivative.
    """
    if not isinstance(s, Tangent):
        return _ratio(np.asarray(s, complex))
    value = _ratio(s.value)
    return through(s, value, 1 - value * value - value / s.value)


def _ratio(s: ComplexArray) -> ComplexArray:
    far = _series(s)
    near = np.abs(s) < _FAR
    return np.where(near, _fraction(np.where(near, s, 1.0)), far) if near.any() else far


def _coefficients() -> tuple[float, ...]:
    """R = sum a_k s^-k with 2 a_k = (k - 2) a_(k-1) - sum a_i a_(k-i), a_0 = 1."""
    found = [1.0]
    for k in range(1, _TERMS):
        inner = sum(found[i] * found[k - i] for i in range(1, k))
        found.append(((k - 2) * found[k - 1] - inner) / 2)
    return tuple(found)


_ASYMPTOTIC: Final = _coefficients()


def _series(s: ComplexArray) -> ComplexArray:
    inverse = 1 / s
    total = np.full(s.shape, _ASYMPTOTIC[-1], complex)
    for coefficient in reversed(_ASYMPTOTIC[:-1]):
        total *= inverse
        total += coefficient
    return total


def _fraction(s: ComplexArray) -> ComplexArray:
    """I1/I0 = s/(2 + s^2/(4 + s^2/(6 + ...))) (Abramowitz & Stegun 1964, 9.1.73 at imaginary argument)."""
    square = s * s
    tail = np.full(s.shape, 2.0 * _DEPTH, complex)
    for k in range(_DEPTH - 1, 0, -1):
        tail = 2.0 * k + square / tail
    return np.asarray(s / tail)
