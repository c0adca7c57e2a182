"""A chanter as a line of its own with a reed that has mass, sounding where its reactive power balances.

Sizes are drawn, and holes placed, in `worlds/maker.py`.

Pitch: a flow of given harmonics (those of a beating reed on a cone: Ollivier, Dalmont & Kergomard 2004) with
an inner resistance blows the bore, the cavity between the blades and the blades themselves, a spring with
mass and damping; the frequency is where sum n |P_n|^2 Im Y(n omega) = 0 (Boutillon 1991 for the bowed string,
J. Acoust. Soc. Am. 90:754, from memory; used here for a reed). The blades close up through the hour and their
volume walks from minute to minute. Guarded by `tests/analytic/test_worlds.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from worlds.own_line import (
    DENSITY,
    SPEED,
    Walls,
    end_impedance,
    taped_length_m,
    taped_share,
    through_cone,
    through_hole,
)
from worlds.world import OPEN, TARGETS_HZ, seated_mm

if TYPE_CHECKING:
    from collections.abc import Callable

    from canebench.base.arrays import BoolArray, ComplexArray, FloatArray
    from worlds.world import Standing

    #: Reactive power (rows, 9) of those rows at pitches (rows, 9).
    _Unbalanced = Callable[[FloatArray, BoolArray], FloatArray]

_HARMONICS: Final = np.arange(1.0, 7.0)
_STAPLE_MM: Final = 23.8
_CLOSING_MIN: Final = 25.0
_LEAKY: Final = 0.3


#: Looking for a pitch: how far about the start, cents, by what steps, and how often it is then refined.
class SilentNoteError(ValueError):
    """A drawn chanter on which a note does not speak."""


_AROUND: Final = np.arange(-160.0, 161.0, 8.0)
_REFINED: Final = 7
_LONGEST_CENTS: Final = 60.0
_SETTLED_CENTS: Final = 0.02
_HALVED: Final = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnReed:
    """Blades and staple. Volumes in mm³; `spring_mm3` is the volume of air as soft as the blades."""

    cavity_mm3: float
    spring_mm3: float
    own_hz: float
    damping: float
    tip_mm: float
    end_mm: float
    duty: float
    fading: float
    inner_ohm: float
    squeezed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnBore:
    """Wood. `places_mm` and `radii_mm` are the bore's; holes (8,) from the reed down, then the vents."""

    places_mm: FloatArray
    radii_mm: FloatArray
    at_mm: FloatArray
    hole_mm: FloatArray
    wall_mm: FloatArray
    tall: FloatArray
    strip: FloatArray
    vent_at_mm: float
    vent_mm: float
    socket_mm: float
    gap_mm: float
    walls: Walls


@dataclass(frozen=True, slots=True, kw_only=True)
class ResonantReed:
    """One of them. `start_hz` (9,) are pitches to search from; `walk_mm3` the volume's walk by the minute."""

    bore: OwnBore
    reed: OwnReed
    closing_mm3: float
    walk_mm3: FloatArray
    leaks_mm: float
    start_hz: FloatArray

    @property
    def bottom_mm(self) -> float:
        """The gap below the staple is all that it can go down."""
        return self.bore.gap_mm

    @property
    def widths_mm(self) -> FloatArray:
        """The holes' height along the bore."""
        return np.asarray(2 * self.bore.hole_mm * np.sqrt(self.bore.tall))

    def cents(self, seat_mm: FloatArray, tape_mm: FloatArray, minute: float) -> FloatArray:
        """Cents (n, 9) above the targets."""
        return np.asarray(1200 * np.log2(self.hz(seat_mm, tape_mm, minute) / TARGETS_HZ))

    def hz(self, seat_mm: FloatArray, tape_mm: FloatArray, minute: float) -> FloatArray:
        """Played pitches (n, 9)."""
        felt = seated_mm(seat_mm, bottom_mm=self.bottom_mm, leaks_mm=self.leaks_mm, left=_LEAKY)
        cavity = self._cavity_mm3(felt, minute)
        share = taped_share(tape_mm, self.widths_mm)
        added = taped_length_m(share, 1e-3 * self.bore.hole_mm) * self.bore.strip
        start = np.broadcast_to(self.start_hz, (seat_mm.size, len(NOTES)))

        def unbalanced(hz: FloatArray, rows: BoolArray) -> FloatArray:
            return _reactive(hz, self.bore, self.reed, felt[rows], cavity[rows], added[rows])

        return _root(unbalanced, start)

    def pressures(self, minute: float) -> FloatArray:
        """Harmonics (9, 6) of the pressure between the blades at the first seat, bare, up to a factor."""
        zero, bare = np.zeros(1), np.zeros((1, len(HOLES)))
        cavity = self._cavity_mm3(zero, minute)
        hz = self.hz(zero, bare, minute)
        return np.asarray(_harmonics(hz, self.bore, self.reed, zero, cavity, bare)[1][0])

    def _cavity_mm3(self, felt_mm: FloatArray, minute: float) -> FloatArray:
        closed = self.closing_mm3 * (1 - np.exp(-minute / _CLOSING_MIN))
        walked = self.walk_mm3[min(int(minute), self.walk_mm3.size - 1)]
        return np.asarray(self.reed.cavity_mm3 * (1 - self.reed.squeezed * felt_mm) - closed + walked)

    def handled(self, before: Standing, after: Standing, rng: np.random.Generator) -> Standing:  # noqa: ARG002
        """Tape stays where it was put."""
        return after


def _reactive(
    hz: FloatArray,
    bore: OwnBore,
    reed: OwnReed,
    seat_mm: FloatArray,
    cavity_mm3: FloatArray,
    added: FloatArray,
) -> FloatArray:
    """The sum over harmonics (n, 9), over what the first takes: falls through 0 at the pitch."""
    admittance, pressure = _harmonics(hz, bore, reed, seat_mm, cavity_mm3, added)
    power = _HARMONICS * pressure**2 * admittance.imag
    return np.asarray(power.sum(axis=-1) / pressure[..., 0] ** 2 * reed.inner_ohm)


def _harmonics(
    hz: FloatArray,
    bore: OwnBore,
    reed: OwnReed,
    seat_mm: FloatArray,
    cavity_mm3: FloatArray,
    added: FloatArray,
) -> tuple[ComplexArray, FloatArray]:
    """Admittance that the flow meets and pressure between the blades, up to a factor: (n, 9, harmonics)."""
    omega = 2 * np.pi * hz[..., None] * _HARMONICS
    blown = 1 / bore_impedance(omega, bore, reed, seat_mm, added)
    beat = omega / (2 * np.pi * reed.own_hz)
    blades = reed.spring_mm3 / (1 - beat**2 + 1j * reed.damping * beat)
    volume = 1e-9 * (cavity_mm3[:, None, None] + blades)
    admittance = blown + 1j * omega * volume / (DENSITY * SPEED**2)
    flow = np.sin(np.pi * reed.duty * _HARMONICS) / _HARMONICS * np.exp(-reed.fading * (_HARMONICS - 1))
    return admittance, np.abs(flow / (admittance + 1 / reed.inner_ohm))


def bore_impedance(
    omega: FloatArray, bore: OwnBore, reed: OwnReed, seat_mm: FloatArray, added_m: FloatArray
) -> ComplexArray:
    """Impedance at the blades (n, 9, harmonics): from the open end up through holes, gap and staple."""
    load = end_impedance(omega, 1e-3 * float(bore.radii_mm[-1]))
    where = [*(float(at) for at in bore.at_mm), bore.vent_at_mm]
    cuts = np.unique(np.concatenate([bore.places_mm, where]))
    radii = np.interp(cuts, bore.places_mm, bore.radii_mm)
    for i in range(cuts.size - 1, -1, -1):
        for j in [j for j, at in enumerate(where) if at == cuts[i]]:
            load = _past_hole(load, omega, bore, j, 1e-3 * float(radii[i]), added_m)
        if i:
            load = through_cone(
                load,
                omega,
                bore.walls,
                near_m=1e-3 * float(radii[i - 1]),
                far_m=1e-3 * float(radii[i]),
                length_m=1e-3 * float(cuts[i] - cuts[i - 1]),
            )
    socket = 1e-3 * bore.socket_mm / 2
    gap = 1e-3 * (bore.gap_mm - seat_mm)[:, None, None]
    load = through_cone(load, omega, bore.walls, near_m=socket, far_m=socket, length_m=gap)
    return through_cone(
        load,
        omega,
        bore.walls,
        near_m=5e-4 * reed.tip_mm,
        far_m=5e-4 * reed.end_mm,
        length_m=1e-3 * _STAPLE_MM,
    )


def _past_hole(
    load: ComplexArray, omega: FloatArray, bore: OwnBore, hole: int, bore_m: float, added_m: FloatArray
) -> ComplexArray:
    if hole == len(HOLES):
        # Two vents face each other: both loads are side by side, as one of twice the area.
        return through_hole(
            load,
            omega,
            is_open=np.ones((len(NOTES), 1)),
            hole_m=1e-3 * bore.vent_mm / 2 * np.sqrt(2),
            bore_m=bore_m,
            wall_m=5e-3,
        )
    return through_hole(
        load,
        omega,
        is_open=OPEN[:, hole][:, None].astype(float),
        hole_m=1e-3 * float(bore.hole_mm[hole]),
        bore_m=bore_m,
        wall_m=1e-3 * float(bore.wall_mm[hole]),
        added_m=added_m[:, hole][:, None, None],
    )


def _root(unbalanced: _Unbalanced, start: FloatArray) -> FloatArray:
    """Newton's way by differences about the start (n, 9); the nearest crossing where it does not settle."""
    cents, step = np.zeros_like(start), np.full_like(start, np.inf)
    every = np.ones(start.shape[0], dtype=bool)
    for _ in range(_REFINED):
        hz = start * np.exp2(cents / 1200)
        here, there = unbalanced(hz, every), unbalanced(hz * np.exp2(1 / 1200), every)
        # A sound pitch is where the balance rises through 0.
        slope = np.maximum(there - here, 1e-3)
        step = np.clip(-here / slope, -_LONGEST_CENTS, _LONGEST_CENTS)
        cents = cents + step
        if np.abs(step).max() < _SETTLED_CENTS:
            break
    astray = np.abs(step) > _SETTLED_CENTS
    rows = np.asarray(astray.any(axis=1))
    if rows.any():
        cents[rows] = np.where(astray[rows], _nearest(unbalanced, start[rows], rows), cents[rows])
    return np.asarray(start * np.exp2(cents / 1200))


def _nearest(unbalanced: _Unbalanced, start: FloatArray, rows: BoolArray) -> FloatArray:
    """Cents from the start (n, 9) to the nearest rising crossing; halved from a grid."""
    values = np.stack([unbalanced(start * np.exp2(cents / 1200), rows) for cents in _AROUND])
    rising = (values[:-1] < 0) & (values[1:] >= 0)
    middle = 0.5 * (_AROUND[:-1] + _AROUND[1:])[:, None, None]
    far = np.where(rising, np.abs(middle), np.inf)
    if not np.all(np.isfinite(far.min(axis=0))):
        raise SilentNoteError
    low = _AROUND[np.argmin(far, axis=0)]
    high = low + (_AROUND[1] - _AROUND[0])
    for _ in range(_HALVED):
        half = 0.5 * (low + high)
        below = unbalanced(start * np.exp2(half / 1200), rows) < 0
        low, high = np.where(below, half, low), np.where(below, high, half)
    return np.asarray(0.5 * (low + high))
