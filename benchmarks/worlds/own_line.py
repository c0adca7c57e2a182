"""A line of its own: truncated cones, holes and an open end, after sources that the model does not use.

Walls: propagation and characteristic impedance by Keefe's series (Keefe 1984, J. Acoust. Soc. Am. 75:58;
coefficients from memory). Cones: spherical waves, the textbook matrix, its last entry from determinant 1.
Holes: Keefe 1990, J. Acoust. Soc. Am. 88:35: effective length of the open hole, and the series lengths of
eqs. 8 and 9. A taped hole's mass: an aperture in a tube (Kergomard & Garcia 1987, J. Sound Vib. 114:465).
An open end: a piston at the end of a tube, 0.6133 radii (Levine & Schwinger 1948, Phys. Rev. 73:383).

Arrays are broadcast; SI units. Guarded by `tests/analytic/test_worlds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray

#: Breath at about 27 °C: speed of sound, m/s, and density, kg/m³.
SPEED: Final = 346.0
DENSITY: Final = 1.17
VISCOSITY: Final = 1.85e-5
_UNFLANGED: Final = 0.6133


@dataclass(frozen=True, slots=True, kw_only=True)
class Walls:
    """How much the walls take: `rough` times what smooth ones do; 0 is a line without losses."""

    rough: float

    def wavenumber(self, omega: FloatArray, radius_m: FloatArray | float) -> ComplexArray:
        """Complex wavenumber k of exp(-j k x), 1/m."""
        if self.rough == 0:
            return np.asarray(omega / SPEED + 0j)
        layers = radius_m * np.sqrt(omega * DENSITY / VISCOSITY) / self.rough
        slowed = 1 + 1.045 / layers
        damped = 1.045 / layers + 1.080 / layers**2 + 0.750 / layers**3
        return np.asarray(omega / SPEED * (slowed - 1j * damped))

    def impedance(self, omega: FloatArray, radius_m: FloatArray | float) -> ComplexArray:
        """Characteristic impedance over that of the area, for a tube of that radius: near 1."""
        if self.rough == 0:
            return np.asarray(np.ones_like(omega) + 0j)
        layers = radius_m * np.sqrt(omega * DENSITY / VISCOSITY) / self.rough
        return np.asarray(1 + 0.369 / layers - 1j * (0.369 / layers + 1.149 / layers**2 + 0.303 / layers**3))


def end_impedance(omega: FloatArray, radius_m: float) -> ComplexArray:
    """An open end's impedance."""
    ka = omega * radius_m / SPEED
    return np.asarray(DENSITY * SPEED / (np.pi * radius_m**2) * (0.25 * ka**2 + 1j * _UNFLANGED * ka))


def through_cone(
    load: ComplexArray,
    omega: FloatArray,
    walls: Walls,
    *,
    near_m: float,
    far_m: float,
    length_m: FloatArray | float,
) -> ComplexArray:
    """Impedance at the near end of a cone of radii `near_m` and `far_m` with `load` at its far end."""
    middle = 0.5 * (near_m + far_m)
    k = walls.wavenumber(omega, middle)
    line = DENSITY * SPEED / (np.pi * near_m * far_m) * walls.impedance(omega, middle)
    sine, cosine = np.sin(k * length_m), np.cos(k * length_m)
    if abs(far_m - near_m) < 1e-9:
        return np.asarray((cosine * load + 1j * line * sine) / (1j * sine / line * load + cosine))
    # Distances from the apex; negative where the cone narrows.
    apex_near = near_m * length_m / (far_m - near_m)
    apex_far = far_m * length_m / (far_m - near_m)
    a = apex_far / apex_near * cosine - sine / (k * apex_near)
    d = apex_near / apex_far * cosine + sine / (k * apex_far)
    b = 1j * line * sine
    c = (
        1j
        / line
        * (sine * (1 + 1 / (k**2 * apex_near * apex_far)) - cosine * length_m / (k * apex_near * apex_far))
    )
    return np.asarray((a * load + b) / (c * load + d))


def through_hole(
    load: ComplexArray,
    omega: FloatArray,
    *,
    is_open: FloatArray,
    hole_m: float,
    bore_m: float,
    wall_m: float,
    added_m: FloatArray | float = 0.0,
) -> ComplexArray:
    """Impedance above a hole with `load` below it; `added_m` is what tape adds to an open hole's length."""
    k, ratio = omega / SPEED, hole_m / bore_m
    line, bore = DENSITY * SPEED / (np.pi * hole_m**2), DENSITY * SPEED / (np.pi * bore_m**2)
    tangent = np.tan(k * wall_m)
    length = (tangent / k + hole_m * (1.40 - 0.58 * ratio**2)) / (1 - 0.61 * k * hole_m * tangent) + added_m
    layer = np.sqrt(2 * VISCOSITY / (DENSITY * omega))
    opened = line * (1j * k * length + 0.25 * (k * hole_m) ** 2 + k * wall_m * layer / hole_m)
    closed = -1j * line / tangent
    steep, both = np.tanh(1.84 * wall_m / hole_m), 0.62 * ratio**2 + 0.64 * ratio
    # Keefe 1990, eqs. 8 and 9, as lengths of bore.
    series_open = 0.47 * hole_m * ratio**2 / (steep + both)
    series_closed = 0.47 * hole_m * ratio**2 / (1 / steep + both)
    shunt = np.where(is_open > 0, opened, closed)
    arm = -0.5j * k * bore * np.where(is_open > 0, series_open, series_closed)
    below = load + arm
    return np.asarray(below * shunt / (below + shunt) + arm)


def taped_share(covered_mm: FloatArray, width_mm: FloatArray) -> FloatArray:
    """Share of an ellipse that a straight edge covers, coming down its axis of that width."""
    height = 1 - 2 * np.clip(covered_mm / width_mm, 0.0, 1.0)
    return np.asarray((np.arccos(height) - height * np.sqrt(1 - height**2)) / np.pi)


def taped_length_m(share: FloatArray, hole_m: FloatArray | float) -> FloatArray:
    """What a strip over a share of a hole adds to its length: an aperture inside, a smaller end outside."""
    opening = np.sqrt(np.clip(1 - share, 1e-3, 1.0))
    aperture = 0.82 * (1 - 1.35 * opening + 0.31 * opening**3)
    bare = 0.82 * (1 - 1.35 + 0.31)
    return np.asarray(hole_m * ((aperture + 0.7) / opening - (bare + 0.7)))
