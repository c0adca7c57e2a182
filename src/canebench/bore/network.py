"""The bore as a chain of 2x2 matrices from reed to sole, and the admittance that the reed sees.

Pressure and flow (p, u) obey p' = -Z' u, u' = -Y' p along the bore, Z' and Y' following the radius
(`losses`). Over a step of length h the solution is the exponential of a Magnus series, here to fourth order
with two Gauss points (Blanes, Casas, Oteo & Ros 2009, Phys. Rep. 470:151, eqs. 251-253): its determinant is
1 by construction, which is reciprocity. Cylinders come out exact; cones with an error of the fifth order in
the step. Guarded by `tests/analytic/test_network.py` and `tests/invariants/test_network.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.bore.losses import line
from canebench.bore.radiation import radiation_impedance
from canebench.bore.toneholes import branches

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network
    from canebench.bore.toneholes import Branches

_GAUSS: Final = (0.5 - np.sqrt(3) / 6, 0.5 + np.sqrt(3) / 6)
_COMMUTATOR: Final = np.sqrt(3) / 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Cases:
    """What is asked of a network, a case to a row: M cases of H openings.

    `omega` (M, 1) angular frequencies, rad/s; `open_share` (M, H) the open share of each hole and vent;
    `gap_m` (M, 1) the gap below the staple, metres.
    """

    omega: FloatArray
    open_share: FloatArray
    gap_m: FloatArray


def admittance(network: Network, cases: Cases) -> ComplexArray:
    """Admittance (m^3/(Pa s)) that the blades drive in each case, the reed's own included: shape (M,)."""
    total = _product(chain(network, cases))
    end = end_admittance(network, cases.omega)[:, 0]
    pressure = total[:, 0, 0] + total[:, 0, 1] * end
    flow = total[:, 1, 0] + total[:, 1, 1] * end
    return flow / pressure + reed_admittance(network, cases.omega)[:, 0]


def scan(network: Network, open_share: FloatArray, gap_m: FloatArray, omega: FloatArray) -> ComplexArray:
    """`admittance` of M cases at each of F frequencies, `omega` (F,): shape (M, F).

    The wood between two holes is the same whatever the fingers do, so it is computed once for all cases that
    have one gap. Guarded by `tests/analytic/test_network.py`.
    """
    found = np.empty((gap_m.size, omega.size), complex)
    for gap in np.unique(gap_m):
        rows = np.flatnonzero(gap_m == gap)
        found[rows] = _scan_of_a_gap(network, open_share[rows], float(gap), omega[:, None])
    return found


def _scan_of_a_gap(network: Network, open_share: FloatArray, gap_m: float, omega: FloatArray) -> ComplexArray:
    """Pressure and flow (M, F) carried up from the sole, over a length of wood and a hole at a time."""
    closed = Cases(omega=omega, open_share=np.zeros((1, network.hole_m.size)), gap_m=np.full((1, 1), gap_m))
    wood = chain(network, closed)
    holes = _branches(network, omega, open_share[:, None, :])
    shape = (len(open_share), omega.shape[0], network.hole_m.size)
    arm, shunt = np.broadcast_to(holes.arm, shape), np.broadcast_to(holes.shunt, shape)
    pressure = np.ones(shape[:2], complex)
    flow = end_admittance(network, omega)[:, 0] * pressure
    below = network.elements
    for hole in np.argsort(-network.hole_at):
        at = int(network.hole_at[hole])
        pressure, flow = _carried(wood[:, at + 1 : below], pressure, flow)
        pressure = pressure + arm[..., hole] * flow
        flow = flow + shunt[..., hole] * pressure
        pressure = pressure + arm[..., hole] * flow
        below = at
    pressure, flow = _carried(wood[:, :below], pressure, flow)
    return np.asarray(flow / pressure + reed_admittance(network, omega)[:, 0])


def _carried(
    matrices: ComplexArray, pressure: ComplexArray, flow: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Pressure and flow above some elements (F, K, 2, 2) from those below."""
    if not matrices.shape[1]:
        return pressure, flow
    total = _product(matrices)
    return (
        total[:, 0, 0] * pressure + total[:, 0, 1] * flow,
        total[:, 1, 0] * pressure + total[:, 1, 1] * flow,
    )


def reed_admittance(network: Network, omega: FloatArray) -> ComplexArray:
    """The reed's volume, geometric and yielding, as a compliance: j omega V / (rho c^2)."""
    return np.asarray(1j * omega * network.volume_m3 / network.medium.stiffness_pa)


def end_admittance(network: Network, omega: FloatArray) -> ComplexArray:
    """What the sole's end radiates into."""
    impedance = radiation_impedance(
        network.end_m, omega, network.medium, correction=network.chanter.sole_correction
    )
    return np.asarray(1 / impedance)


def chain(network: Network, cases: Cases) -> ComplexArray:
    """Matrices of all elements, each giving (p, u) above it from below: shape (M, elements, 2, 2)."""
    rows = cases.omega.shape[0]
    matrices = np.zeros((rows, network.elements, 2, 2), complex)
    matrices[:, network.step_at] = _steps(network, cases)
    matrices[:, network.hole_at] = _holes(network, cases)
    if network.jump_at.size:
        matrices[:, network.jump_at, 0, 0] = matrices[:, network.jump_at, 1, 1] = 1.0
        matrices[:, network.jump_at, 0, 1] = 1j * cases.omega * network.jump_mass
    return matrices


def states(matrices: ComplexArray, end: ComplexArray) -> ComplexArray:
    """(p, u) above every element and below the last, p = 1 at the sole: shape (M, elements + 1, 2)."""
    rows, elements = matrices.shape[:2]
    found = np.empty((rows, elements + 1, 2), complex)
    found[:, elements, 0], found[:, elements, 1] = 1.0, end[:, 0]
    state = found[:, elements, :, None]
    for element in range(elements - 1, -1, -1):
        state = matrices[:, element] @ state
        found[:, element] = state[..., 0]
    return found


def _steps(network: Network, cases: Cases) -> ComplexArray:
    radii = np.concatenate([network.top_m + share * (network.bottom_m - network.top_m) for share in _GAUSS])
    series, shunt = (np.asarray(part) for part in line(radii[None, :], cases.omega, network.medium))
    count = network.top_m.size
    length = np.where(network.in_gap, 0.5 * cases.gap_m, network.step_m)
    first, second = np.s_[:, :count], np.s_[:, count:]
    lean = _COMMUTATOR * length**2 * (series[first] * shunt[second] - series[second] * shunt[first])
    half = 0.5 * length
    across, along = half * (series[first] + series[second]), half * (shunt[first] + shunt[second])
    even, odd = _hyperbolic(lean * lean + across * along)
    lean *= odd
    found = np.empty((*lean.shape, 2, 2), complex)
    found[..., 0, 0], found[..., 1, 1] = even + lean, even - lean
    found[..., 0, 1], found[..., 1, 0] = odd * across, odd * along
    return found


def _hyperbolic(square: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """cosh(q) and sinh(q)/q from q^2, by their series: steps are short, so that |q| stays below 1."""
    even = 1 + square / 2 * (1 + square / 12 * (1 + square / 30 * (1 + square / 56 * (1 + square / 90))))
    odd = 1 + square / 6 * (1 + square / 20 * (1 + square / 42 * (1 + square / 72 * (1 + square / 110))))
    return even, odd


def _holes(network: Network, cases: Cases) -> ComplexArray:
    """The T of each opening: arm, shunt, arm."""
    found = _branches(network, cases.omega, cases.open_share)
    arm, shunt = np.asarray(found.arm), np.asarray(found.shunt)
    through = 1 + arm * shunt
    matrices = np.empty((*through.shape, 2, 2), complex)
    matrices[..., 0, 0] = matrices[..., 1, 1] = through
    matrices[..., 0, 1], matrices[..., 1, 0] = arm * (1 + through), shunt
    return matrices


def _branches(network: Network, omega: FloatArray, open_share: FloatArray) -> Branches:
    """Every opening; `omega` and `open_share` are broadcast."""
    return branches(
        network.hole_m,
        network.bore_m,
        open_share,
        network.wall_m,
        omega,
        network.medium,
        correction=network.chanter.hole_correction,
    )


def _product(matrices: ComplexArray) -> ComplexArray:
    """The product along the chain, pairwise: few large operations instead of many small ones."""
    while matrices.shape[1] > 1:
        odd = matrices.shape[1] % 2
        paired = matrices[:, : matrices.shape[1] - odd]
        product = paired[:, 0::2] @ paired[:, 1::2]
        matrices = np.concatenate([product, matrices[:, -1:]], axis=1) if odd else product
    return matrices[:, 0]
