"""How far each note moves for a small change of anything: exact derivatives of the playing frequencies.

Perturb Z' and Y' of the bore: the Wronskian W = p du - u dp of the old and the new wave obeys
W' = dZ' u^2 - dY' p^2, so that the admittance at the reed changes by

    p_0^2 dY_0 = dY_end p_end^2 + integral (dY' p^2 - dZ' u^2) dx + sum over holes (dY p^2 - dZ u^2):

one passage of the wave serves every parameter (adjoint method; reciprocity makes the adjoint wave the wave
itself). Local derivatives come from the same formulas as the model, given tangents. The resonance Im Y = 0
then moves by df = - Im(dY) / Im(dY/df). The integral is Simpson's: near the throat it leaves up to 0.03 cents
per mm of a diameter. Guarded by `tests/cross_method/test_sensitivity.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.units import CENTS_PER_NEPER
from canebench.bore.assembly import FIELDS, GAP
from canebench.bore.autodiff import Number, Tangent, variables
from canebench.bore.losses import Medium, line
from canebench.bore.network import Cases, chain, end_admittance, states
from canebench.bore.radiation import radiation_impedance
from canebench.bore.toneholes import branches

if TYPE_CHECKING:
    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network

_SIMPSON: Final = np.array([1.0, 4.0, 1.0]) / 3
_MM_RADIUS: Final = 0.5e-3
_MM: Final = 1e-3
_MM3: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensitivity:
    """Cents by which each of M cases moves, for a change of one unit.

    Attributes
    ----------
    seat_per_mm : array (M,)
        Per mm that the reed sits deeper (the gap below it shrinks).
    seat_diameter_per_mm : array (M,)
        Per mm of the seat's diameter at the gap.
    hole_per_mm : array (M, H)
        Per mm of diameter of each hole and vent.
    open_share : array (M, H)
        Per unit of open share of each hole and vent: tape that covers a share x moves it by -x.
    top_per_mm, bottom_per_mm : array (M, S)
        Per mm of upper and of lower diameter of each section; the masses of sudden steps are held.
    reed_per_mm3 : array (M,)
        Per mm^3 of the reed's volume.
    per_degc : array (M,)
        Per degree Celsius of the air in the bore.
    layer_scale : array (M,)
        Per unit of the wall's `layer_scale`.
    """

    seat_per_mm: FloatArray
    seat_diameter_per_mm: FloatArray
    hole_per_mm: FloatArray
    open_share: FloatArray
    top_per_mm: FloatArray
    bottom_per_mm: FloatArray
    reed_per_mm3: FloatArray
    per_degc: FloatArray
    layer_scale: FloatArray


def sensitivity(network: Network, open_share: FloatArray, gap_m: FloatArray, hz: FloatArray) -> Sensitivity:
    """Derivatives of resonances that have been found.

    Parameters
    ----------
    network : Network
        Chanter, reed and air.
    open_share, gap_m : arrays (M, H), (M,)
        The cases, as for `resonances_hz`.
    hz : array (M,)
        Their resonances.
    """
    cases = Cases(omega=2 * np.pi * hz[:, None], open_share=open_share, gap_m=gap_m[:, None])
    wave = states(chain(network, cases), end_admittance(network, cases.omega))
    bore, holes = _bore(network, cases, wave), _holes(network, cases, wave)
    end = _end(network, cases)
    reed = _reed(network, cases)
    entry = wave[:, 0, 0] ** 2

    top, bottom = bore.top, bore.bottom
    for hole in range(network.hole_at.size):
        section, share = network.hole_section[hole], network.hole_share[hole]
        top[:, section] += holes[1, :, hole] * (1 - share)
        bottom[:, section] += holes[1, :, hole] * share
    bottom[:, -1] += end[0, :, 0]
    jumps = _jumps(network, cases, wave)
    common = bore.common + holes[3:6].sum(axis=2) + end[1:4, :, 0] + jumps
    by_omega = common[0] / entry + reed[0, :, 0]

    def cents(change: ComplexArray) -> FloatArray:
        """From p_0^2 dY to cents: df/f = - Im(dY) / Im(dY/d omega) / omega."""
        extra = (None,) * (change.ndim - 1)
        ratio = (change / entry[:, *extra]).imag / (by_omega.imag * cases.omega[:, 0])[:, *extra]
        return np.asarray(-CENTS_PER_NEPER * ratio)

    return Sensitivity(
        seat_per_mm=-cents(bore.gap_length) * _MM,
        seat_diameter_per_mm=cents(bore.gap_radius) * _MM_RADIUS,
        hole_per_mm=cents(holes[0]) * _MM_RADIUS,
        open_share=cents(holes[2]),
        top_per_mm=cents(top) * _MM_RADIUS,
        bottom_per_mm=cents(bottom) * _MM_RADIUS,
        reed_per_mm3=cents(reed[2, :, 0] * entry) * _MM3,
        per_degc=cents(common[1] + reed[1, :, 0] * entry),
        layer_scale=cents(common[2]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bore:
    """Integrals along the bore: by section ends, by the gap, and by (omega, temperature, layers)."""

    top: ComplexArray
    bottom: ComplexArray
    gap_length: ComplexArray
    gap_radius: ComplexArray
    common: ComplexArray


def _bore(network: Network, cases: Cases, wave: ComplexArray) -> _Bore:
    """Simpson's rule over pairs of steps, whose three nodes are states of the wave."""
    first = np.arange(0, network.top_m.size, 2)
    nodes = network.step_at[first][:, None] + np.arange(3)
    radii = np.stack([network.top_m[first], network.bottom_m[first], network.bottom_m[first + 1]], axis=1)
    along = np.stack(
        [network.share_top[first], network.share_bottom[first], network.share_bottom[first + 1]], axis=1
    )
    radius, omega, degc, layer = variables(
        radii.reshape(1, -1), cases.omega, np.zeros((1, 1)), np.full((1, 1), network.medium.layer_scale)
    )
    series, shunt = line(radius, omega, _medium(network, degc, layer))
    pressure, flow = (wave[:, nodes.ravel(), part] ** 2 for part in (0, 1))
    shape = (cases.omega.shape[0], *nodes.shape)
    change = (shunt.by * pressure - series.by * flow).reshape(-1, *shape)
    in_gap = network.in_gap[first]
    step = np.where(in_gap, 0.5 * cases.gap_m, network.step_m[first])
    weighted = change * (step[:, :, None] * _SIMPSON)
    energy = (shunt.value * pressure - series.value * flow).reshape(shape)[:, in_gap]

    sections = len(network.chanter.sections)
    top, bottom = (np.zeros((shape[0], sections), complex) for _ in range(2))
    by_top, by_bottom = (weighted[0] * (1 - along)).sum(axis=2), (weighted[0] * along).sum(axis=2)
    for section in range(sections):
        here = network.section[first] == section
        top[:, section], bottom[:, section] = by_top[:, here].sum(axis=1), by_bottom[:, here].sum(axis=1)
    return _Bore(
        top=top,
        bottom=bottom,
        gap_length=(energy * _SIMPSON / 2).sum(axis=(1, 2)),
        gap_radius=weighted[0][:, network.section[first] == GAP].sum(axis=(1, 2)),
        common=weighted[1:].sum(axis=(2, 3)),
    )


def _holes(network: Network, cases: Cases, wave: ComplexArray) -> ComplexArray:
    """By hole radius, bore radius, open share, omega, temperature, layers: shape (6, M, H)."""
    hole, bore, share, omega, degc, layer = variables(
        network.hole_m[None, :],
        network.bore_m[None, :],
        cases.open_share,
        cases.omega,
        np.zeros((1, 1)),
        np.full((1, 1), network.medium.layer_scale),
    )
    found = branches(
        hole,
        bore,
        share,
        network.wall_m[None, :],
        omega,
        _medium(network, degc, layer),
        correction=network.chanter.hole_correction,
    )
    above, below = wave[:, network.hole_at], wave[:, network.hole_at + 1]
    middle = above[..., 0] - found.arm.value * above[..., 1]
    arms = above[..., 1] ** 2 + below[..., 1] ** 2
    return np.asarray(found.shunt.by * middle**2 - found.arm.by * arms)


def _end(network: Network, cases: Cases) -> ComplexArray:
    """The sole's end by its radius, omega, temperature, layers: shape (4, M, 1); p = 1 there."""
    radius, omega, degc, layer = variables(
        np.full((1, 1), network.end_m), cases.omega, np.zeros((1, 1)), np.ones((1, 1))
    )
    medium = _medium(network, degc, layer)
    impedance = radiation_impedance(radius, omega, medium, correction=network.chanter.sole_correction)
    change: ComplexArray = (1 / impedance).by
    return change


def _jumps(network: Network, cases: Cases, wave: ComplexArray) -> ComplexArray:
    """Masses of sudden steps by omega, temperature, layers: shape (3, M)."""
    flow = (wave[:, network.jump_at, 1] ** 2 * network.jump_mass).sum(axis=1)
    denser = network.medium_per_degc.density_kg_m3 / network.medium.density_kg_m3
    by_degc = -1j * cases.omega[:, 0] * flow * denser
    return np.stack([-1j * flow, by_degc, np.zeros_like(flow)])


def _reed(network: Network, cases: Cases) -> ComplexArray:
    """The reed's own admittance by omega, temperature, volume: shape (3, M, 1)."""
    omega, degc, volume = variables(cases.omega, np.zeros((1, 1)), np.full((1, 1), network.volume_m3))
    medium = _medium(network, degc, 1.0)
    change: ComplexArray = (1j * omega * volume / medium.stiffness_pa).by
    return change


def _medium(network: Network, degc: Tangent, layer: Number) -> Medium:
    """The air as a function of its temperature, to first order about the present one."""
    fields = {
        name: getattr(network.medium, name) + getattr(network.medium_per_degc, name) * degc for name in FIELDS
    }
    return replace(network.medium, **fields, layer_scale=layer)
