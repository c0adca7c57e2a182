"""Tone holes: a short lossy chimney on the bore, open, covered by a finger, or partly covered by tape.

The junction is a T of three acoustic masses: a series mass m_a / 2 in either arm of the bore and m_s - m_a/4
in the branch (Dubos, Kergomard, Khettabi, Dalmont, Keefe & Nederveen 1999, Acta Acust. united Ac. 85:153;
in the form of Chaigne & Kergomard 2016, eqs. 7.160-7.164; b hole radius, a bore radius, d = b/a):

    m_s = rho/(pi b) (0.82 - 0.193 d - 1.09 d^2 + 1.27 d^3 - 0.71 d^4)
    m_a = rho b/(pi a^2) (-0.37 + 0.087 d) d^2

All formulas take arrays or tangents. Guarded by `tests/cross_method/test_openwind.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canebench.bore.autodiff import Number, Tangent, through
from canebench.bore.losses import line
from canebench.bore.radiation import radiation_impedance
from canebench.bore.tape import FOK

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.bore.losses import Medium


@dataclass(frozen=True, slots=True, kw_only=True)
class Branches:
    """Holes as the bore sees them: a series impedance in each arm (Pa s/m^3), a shunt admittance between."""

    arm: Number
    shunt: Number


def branches(
    hole_m: Number,
    bore_m: Number,
    open_share: Number,
    wall_m: Number,
    omega: Number,
    medium: Medium,
    *,
    correction: float,
) -> Branches:
    """Every hole at every frequency.

    Parameters
    ----------
    hole_m, bore_m, wall_m : array or tangent
        Radius of the hole, radius of the bore there, length of the chimney, metres.
    open_share : array or tangent
        Share of the hole's area that is open: 1 open, 0 closed by a finger, between under tape.
    omega : array or tangent
        Angular frequency, rad/s.
    medium : Medium
        The air.
    correction : number
        End correction of the open hole over its radius.
    """
    ratio = hole_m / bore_m
    symmetric = (medium.density_kg_m3 / (np.pi * hole_m)) * _polynomial(
        ratio, (0.82, -0.193, -1.09, 1.27, -0.71)
    )
    antisymmetric = (medium.density_kg_m3 * hole_m / (np.pi * (bore_m * bore_m))) * (
        ratio * ratio * (-0.37 + 0.087 * ratio)
    )
    chimney = _chimney(hole_m, open_share, wall_m, omega, medium, correction)
    mass = 1j * omega * (symmetric - 0.25 * antisymmetric)
    return Branches(arm=0.5j * omega * antisymmetric, shunt=chimney / (1 + mass * chimney))


def _chimney(
    hole_m: Number,
    open_share: Number,
    wall_m: Number,
    omega: Number,
    medium: Medium,
    correction: float,
) -> Number:
    """Admittance at the inner end of a uniform lossy tube whose outer end is open, taped or closed.

    Y = (Y_L + Y' l t) / (1 + Z' l t Y_L) with t = tanh(q)/q, q^2 = Z'Y' l^2: the usual line formula, with
    tanh as its continued fraction because chimneys are short (q << 1).
    """
    series, shunt = line(hole_m, omega, medium)
    series, shunt = series * wall_m, shunt * wall_m
    square = series * shunt
    # tanh(q)/q = 1/(1 + q^2/(3 + q^2/(5 + q^2/7))) (Abramowitz & Stegun 1964, 4.5.70).
    slope = 1 / (1 + square / (3 + square / (5 + square / 7)))
    end = _outer_end(hole_m, open_share, omega, medium, correction)
    return (end + shunt * slope) / (1 + series * slope * end)


def _outer_end(
    hole_m: Number, open_share: Number, omega: Number, medium: Medium, correction: float
) -> Number:
    """Admittance of the hole's outer end; 0 where it is closed.

    Tape leaves an opening taken as round and of the same area, radius b_e = b sqrt(open): outside it
    radiates like a hole of that radius, inside it has the mass of an orifice in a tube,
    0.82 b_e / Fok(b_e/b).
    """
    closed = _values(open_share) <= 0
    share = _where(closed, open_share)
    opening = hole_m * share**0.5
    orifice = (
        1j
        * omega
        * medium.density_kg_m3
        * 0.82
        * (_polynomial(share**0.5, FOK) - sum(FOK))
        / (np.pi * opening)
    )
    outside = radiation_impedance(opening, omega, medium, correction=correction)
    return _open_only(closed, 1 / (outside + orifice))


def _polynomial(x: Number, coefficients: tuple[float, ...]) -> Number:
    total: Number = coefficients[-1]
    for coefficient in reversed(coefficients[:-1]):
        total = total * x + coefficient
    return total


def _values(x: Number) -> FloatArray:
    return np.asarray(np.real(x.value if isinstance(x, Tangent) else x))


def _where(closed: BoolArray, open_share: Number) -> Number:
    """The share, with 1 in place of a closed hole's 0: its admittance is set to 0 afterwards."""
    if isinstance(open_share, Tangent):
        return Tangent(np.where(closed, 1.0, open_share.value), open_share.by)
    return np.where(closed, 1.0, open_share)


def _open_only(closed: BoolArray, admittance: Number) -> Number:
    if isinstance(admittance, Tangent):
        gate = np.where(closed, 0.0, 1.0)
        return through(admittance, admittance.value * gate, gate)
    return np.where(closed, 0.0, admittance)
