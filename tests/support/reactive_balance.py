"""A reed of one mass on a bore: where it begins to sound and, once it does, at which pitch.

Reed: x = D(w) p in units of pressure, D = 1 / (1 - (w/w_r)^2 + j q w/w_r); a slit of the area
H (1 - (p_m - x)/p_M), the flow through it that times sqrt(2 (p_m - p)/rho) (Wilson & Beavers 1974, J. Acoust.
Soc. Am. 56:653, from memory). The blades drive Y(w) = Y_bore + j w (V + rho c^2 C D(w)) / (rho c^2), V being
the room between them and C their yielding.

Threshold: linearized about rest, with g = p_m/p_M and f = H sqrt(2 p_M/rho)/p_M,

    Im Y = f sqrt(g) Im D,    Re Y = f sqrt(g) [Re D - (1 - g)/(2 g)]

(Silva, Kergomard, Vergez & Gilbert 2008, J. Acoust. Soc. Am. 124:3284; the form from memory).

Playing: where flow is a function of pressure alone, its loop has no area, so that the reactive powers
n |P_n|^2 Im Y(n w) add up to nothing (Boutillon 1991, J. Acoust. Soc. Am. 90:754, for a bow, from memory; for
woodwinds, his abstract 2pMU2, 127th meeting of the Acoustical Society, 1994). The blades' lag gives the loop
an area; to first order it is that of the threshold, f sqrt(g) Im D(n w).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from canebench.bore.network import Cases, admittance, chain, end_admittance, states

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network

_ROUNDS = 14
_AROUND = np.arange(-300.0, 301.0, 20.0)
_STILL_CENTS = 1e-4
_STILL = 1e-5
_MM3 = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class MassReed:
    """Blades: their room and, as a volume of air as soft, their yielding, mm³; own frequency, Hz, and 1/Q.

    `closing_pa` is the pressure that shuts them, `slit_m2` the slit's area at rest.
    """

    cavity_mm3: float
    spring_mm3: float
    own_hz: float
    damping: float
    closing_pa: float
    slit_m2: float

    def answer(self, omega: FloatArray) -> ComplexArray:
        """D: how far the blades follow the pressure, 1 when slow."""
        beat = omega / (2 * np.pi * self.own_hz)
        return np.asarray(1 / (1 - beat**2 + 1j * self.damping * beat))

    def flow_per_pa(self, density_kg_m3: float) -> float:
        """f: flow through the open slit under the closing pressure, over that pressure; m³/(Pa s)."""
        return float(self.slit_m2 * np.sqrt(2 * self.closing_pa / density_kg_m3) / self.closing_pa)


@dataclass(frozen=True, slots=True, kw_only=True)
class Blown:
    """M fingerings of a bore with a reed: open shares (M, H), gaps below the staple (M,), metres."""

    network: Network
    reed: MassReed
    open_share: FloatArray
    gap_m: FloatArray

    def driven(self, omega: FloatArray) -> ComplexArray:
        """Y (M, N) at angular frequencies (M, N): bore, room between the blades, and their yielding."""
        rows, count = omega.shape
        bore = replace(self.network, volume_m3=self.reed.cavity_mm3 * _MM3)
        cases = Cases(
            omega=omega.reshape(-1, 1),
            open_share=np.repeat(self.open_share, count, axis=0),
            gap_m=np.repeat(self.gap_m, count)[:, None],
        )
        yielding = self.reed.spring_mm3 * _MM3 / self.network.medium.stiffness_pa
        return np.asarray(
            admittance(bore, cases).reshape(rows, count) + 1j * omega * yielding * self.reed.answer(omega)
        )

    def heard_outside(self, omega: FloatArray) -> FloatArray:
        """Sound outside (M, N) for a pascal between the blades: what leaves the open holes and the sole.

        Holes lie close together against a wavelength's tenth, so their flows add; times frequency, up to a
        constant of the place.
        """
        rows, count = omega.shape
        cases = Cases(
            omega=omega.reshape(-1, 1),
            open_share=np.repeat(self.open_share, count, axis=0),
            gap_m=np.repeat(self.gap_m, count)[:, None],
        )
        wave = states(chain(self.network, cases), end_admittance(self.network, cases.omega))
        at = self.network.hole_at
        out = (wave[:, at, 1] - wave[:, at + 1, 1]) * (cases.open_share > 0)
        flow = out.sum(axis=1) + wave[:, -1, 1]
        return np.asarray(np.abs(flow / wave[:, 0, 0]).reshape(rows, count) * omega)

    def lag(self, omega: FloatArray, share: FloatArray) -> ComplexArray:
        """Flow (M, N) for a pascal, as far as it follows the blades; `share` (M,) is blowing over closing."""
        flow = self.reed.flow_per_pa(self.network.medium.density_kg_m3)
        return np.asarray(flow * np.sqrt(share)[:, None] * self.reed.answer(omega))

    def playing_hz(self, pressures: FloatArray, share: FloatArray, start_hz: FloatArray) -> FloatArray:
        """Where the reactive power of harmonics (M, N) of the pressure between the blades adds up to nothing.

        `share` (M,) is the blowing pressure over the closing one. NaN where none is found near the start.
        """
        order = np.arange(1, pressures.shape[1] + 1)
        power = order * pressures**2 / (pressures**2 * order).sum(axis=1, keepdims=True)

        def unbalanced(hz: FloatArray) -> FloatArray:
            omega = 2 * np.pi * hz[:, None] * order
            return np.asarray((power * (self.driven(omega) - self.lag(omega, share)).imag).sum(axis=1))

        return crossing_hz(unbalanced, start_hz)

    def flows(self, pressures: FloatArray, share: FloatArray, hz: FloatArray) -> FloatArray:
        """Harmonics (M, N) of the flow without the blades' lag, from those of the pressure at `hz` (M,)."""
        omega = 2 * np.pi * hz[:, None] * np.arange(1, pressures.shape[1] + 1)
        return np.abs(self.driven(omega) - self.lag(omega, share)) * pressures

    def playing_with_flows_hz(self, flows: FloatArray, share: FloatArray, start_hz: FloatArray) -> FloatArray:
        """The same where the flow's harmonics are known and the pressure's follow from the bore."""
        order = np.arange(1, flows.shape[1] + 1)
        power = order * flows**2 / (flows**2 * order).sum(axis=1, keepdims=True)

        def unbalanced(hz: FloatArray) -> FloatArray:
            omega = 2 * np.pi * hz[:, None] * order
            return np.asarray(-(power / (self.driven(omega) - self.lag(omega, share))).imag.sum(axis=1))

        return crossing_hz(unbalanced, start_hz)

    def threshold(self, start_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Frequency, Hz, and blowing pressure, Pa, (M,) at which each begins to sound; NaN where never."""
        flow = self.reed.flow_per_pa(self.network.medium.density_kg_m3)
        hz, share = start_hz, np.full(start_hz.shape, 0.4)
        for _ in range(_ROUNDS):
            hz = crossing_hz(partial(self._lagging, flow * np.sqrt(share)), start_hz)
            omega = 2 * np.pi * np.where(np.isnan(hz), start_hz, hz)[:, None]
            loss, answer = self.driven(omega)[:, 0].real, self.reed.answer(omega)[:, 0].real
            # f [(2 Re D + 1) g - 1] = 2 Re Y sqrt(g), a square in sqrt(g).
            a = flow * (2 * answer + 1)
            root = (loss + np.sqrt(loss**2 + a * flow)) / a
            share, before = root**2, share
            if np.abs(share - before).max() < _STILL:
                break
        heard = (share < 1) & np.isfinite(hz)
        return np.where(heard, hz, np.nan), np.where(heard, share * self.reed.closing_pa, np.nan)

    def _lagging(self, flow: FloatArray, hz: FloatArray) -> FloatArray:
        """Im (Y - f sqrt(g) D), `flow` (M,) being f sqrt(g)."""
        omega = 2 * np.pi * hz[:, None]
        return np.asarray((self.driven(omega) - flow[:, None] * self.reed.answer(omega))[:, 0].imag)


def crossing_hz(unbalanced: Callable[[FloatArray], FloatArray], start_hz: FloatArray) -> FloatArray:
    """Where a balance (M,) rises through 0 nearest to each start, Hz; NaN where in 3 semitones none is."""
    values = np.stack([unbalanced(start_hz * np.exp2(cents / 1200)) for cents in _AROUND])
    rising = (values[:-1] < 0) & (values[1:] >= 0)
    middle = 0.5 * (_AROUND[:-1] + _AROUND[1:])[:, None]
    far = np.where(rising, np.abs(middle), np.inf)
    at, each = np.argmin(far, axis=0), np.arange(start_hz.size)
    low, high = _AROUND[at], _AROUND[at + 1]
    below, above = values[at, each], values[at + 1, each]
    for _ in range(_ROUNDS):
        # By the false position, one end's value halved where the other end moves twice (Illinois).
        now = np.where(
            rising.any(axis=0), low - below * (high - low) / np.where(above == below, 1.0, above - below), 0.0
        )
        value = unbalanced(start_hz * np.exp2(now / 1200))
        under = value < 0
        low, high = np.where(under, now, low), np.where(under, high, now)
        below, above = np.where(under, value, below / 2), np.where(under, above / 2, value)
        if np.all((high - low < _STILL_CENTS) | (value == 0) | ~rising.any(axis=0)):
            break
    return np.where(rising.any(axis=0), start_hz * np.exp2(now / 1200), np.nan)
