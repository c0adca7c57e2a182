"""Bores for tests: an invented chanter (not a measured one), bores without holes, and what they are asked."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.fingering import HOLES, OPEN_HOLES
from canebench.base.notes import NOTES
from canebench.bore.assembly import assemble
from canebench.bore.geometry import BoreSection, Chanter, Hole, Reed, Seat
from canebench.bore.losses import Medium
from canebench.bore.network import Cases, chain
from canebench.bore.resonance import resonances_hz
from canebench.bore.tape import covered_share

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.arrays import ComplexArray, FloatArray
    from canebench.bore.assembly import Network

SPEED_M_S = 345.95
DENSITY_KG_M3 = 1.178
CENTS_PER_NEPER = 1200 / np.log(2)

#: Breath at 27 °C, about: round numbers are enough where both sides of a test use the same.
BREATH = Medium(
    density_kg_m3=DENSITY_KG_M3,
    stiffness_pa=DENSITY_KG_M3 * SPEED_M_S**2,
    viscosity_m2_s=1.57e-5,
    diffusivity_m2_s=2.2e-5,
    gamma=1.4,
)
#: The same without boundary layers: of 1e-16 m and less, which is as good as none.
LOSSLESS = replace(BREATH, viscosity_m2_s=1e-30, diffusivity_m2_s=1e-30)

#: Positions and diameters of the invented chanter's holes from the top down, mm.
_POSITIONS_MM = (67.5, 85.4, 101.2, 120.8, 152.8, 170.0, 197.5, 228.8)
_DIAMETERS_MM = (4.64, 3.00, 5.47, 6.87, 5.50, 7.11, 7.01, 6.74)
_VENT_MM, _VENT_WIDTH_MM = 299.4, 10.0
_LENGTH_MM, _TAPER = 325.0, 1 / 20
_RATIOS = (7 / 8, 1, 9 / 8, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 7 / 4, 2)
_LAID_OUT_FOR_HZ = {note: 480.0 * ratio for note, ratio in zip(NOTES, _RATIOS, strict=True)}
NO_TAPE: Mapping[str, float] = MappingProxyType({})


def invented_chanter(*, gap_mm: float = 0.0, socket_mm: float = 6.0) -> Chanter:
    """An invented fixture, not a measured chanter: a cone of 1 in 20 with eight holes and two vents."""
    holes = [
        Hole(position_mm=at, diameter_mm=wide, wall_mm=5.0)
        for at, wide in zip(_POSITIONS_MM, _DIAMETERS_MM, strict=True)
    ]
    vent = Hole(position_mm=_VENT_MM, diameter_mm=_VENT_WIDTH_MM, wall_mm=5.0)
    return Chanter(
        name="invented",
        seat=Seat(diameter_mm=socket_mm, gap_mm=gap_mm),
        sections=(BoreSection(length_mm=_LENGTH_MM, top_mm=4.0, bottom_mm=4.0 + _TAPER * _LENGTH_MM),),
        holes=tuple(holes),
        vents=(vent, vent),
    )


def invented_reed(*, volume_mm3: float = 268.8) -> Reed:
    """The invented chanter's reed."""
    return Reed(staple=BoreSection(length_mm=24.0, top_mm=2.7, bottom_mm=4.0), volume_mm3=volume_mm3)


def shares(
    network: Network, notes: Sequence[str] = NOTES, tape_mm: Mapping[str, float] = NO_TAPE
) -> FloatArray:
    """Open share of each hole and vent for each note, under tape so far down from each upper edge."""
    widths = dict(zip(HOLES, 2e3 * network.hole_m, strict=False))
    left = {hole: 1 - covered_share(tape_mm.get(hole, 0.0), diameter_mm=widths[hole]) for hole in HOLES}
    vents = [1.0] * len(network.chanter.vents)
    rows = [[left[hole] if hole in OPEN_HOLES[note] else 0.0 for hole in HOLES] + vents for note in notes]
    return np.array(rows)


def pitches_hz(
    network: Network,
    *,
    notes: Sequence[str] = NOTES,
    tape_mm: Mapping[str, float] = NO_TAPE,
    gap_mm: float | None = None,
    start_hz: FloatArray | None = None,
) -> FloatArray:
    """The notes' resonances, followed from `start_hz` or searched for from nothing."""
    gap = network.chanter.seat.gap_mm if gap_mm is None else gap_mm
    open_share = shares(network, notes, tape_mm)
    return resonances_hz(network, open_share, np.full(len(notes), gap * 1e-3), start_hz=start_hz)


def invented_hz(notes: Sequence[str] = NOTES) -> FloatArray:
    """What the invented chanter was laid out for: a start that its every note is followed from.

    Its high A has a second resonance, of the closed length below, a semitone lower.
    """
    return np.array([_LAID_OUT_FOR_HZ[note] for note in notes])


def cents(now_hz: FloatArray, before_hz: FloatArray) -> FloatArray:
    """Cents of each pitch from what it was before."""
    return np.asarray(CENTS_PER_NEPER * np.log(now_hz / before_hz))


def bare_bore(
    medium: Medium, *, length_mm: float, top_mm: float, bottom_mm: float, volume_mm3: float = 0.0
) -> Network:
    """One straight-sided bore without holes; its first 15 mm, or a tenth, stand for the staple."""
    staple_mm = min(15.0, length_mm / 10)
    middle_mm = top_mm + (bottom_mm - top_mm) * staple_mm / length_mm
    tiny = [Hole(position_mm=at, diameter_mm=1.0, wall_mm=1.0) for at in range(10, 90, 10)]
    chanter = Chanter(
        name="bare",
        seat=Seat(diameter_mm=middle_mm, gap_mm=0.0),
        sections=(BoreSection(length_mm=length_mm - staple_mm, top_mm=middle_mm, bottom_mm=bottom_mm),),
        holes=tuple(tiny),
    )
    staple = BoreSection(length_mm=staple_mm, top_mm=top_mm, bottom_mm=middle_mm)
    network = assemble(chanter, Reed(staple=staple, volume_mm3=100.0), medium)
    none = np.empty(0)
    return replace(
        network,
        volume_m3=volume_mm3 * 1e-9,
        step_at=np.arange(network.step_m.size),
        elements=network.step_m.size,
        hole_at=np.empty(0, int),
        hole_m=none,
        bore_m=none,
        wall_m=none,
    )


def ideal_end(network: Network) -> Network:
    """The same bore, its end opening into so wide a mouth that no pressure is left there."""
    return replace(network, end_m=1e4)


def bare_cases(hz: FloatArray, *, gap_m: float = 0.0) -> Cases:
    """Frequencies at which a bore without holes is asked."""
    rows = np.size(hz)
    return Cases(
        omega=2 * np.pi * np.reshape(hz, (rows, 1)),
        open_share=np.empty((rows, 0)),
        gap_m=np.full((rows, 1), gap_m),
    )


def first_hz(network: Network) -> float:
    """First resonance of a bore without holes."""
    return float(resonances_hz(network, np.empty((1, 0)), np.zeros(1))[0])


def whole(network: Network, cases: Cases) -> ComplexArray:
    """The matrix from reed to sole, multiplied out one by one: shape (M, 2, 2)."""
    matrices = chain(network, cases)
    return np.asarray(reduce(np.matmul, [matrices[:, k] for k in range(matrices.shape[1])]))


def twice_as_fine(network: Network) -> Network:
    """Every step cut in two but those of the gap."""
    halves = np.where(network.in_gap, 1, 2)
    room = np.ones(network.elements, int)
    room[network.step_at] = halves
    moved = np.cumsum(room) - room
    which = np.repeat(np.arange(network.step_m.size), halves)
    second = np.concatenate([[False], which[1:] == which[:-1]])
    first = np.concatenate([which[1:] == which[:-1], [False]])
    middle_m = (network.top_m + network.bottom_m) / 2
    middle = (network.share_top + network.share_bottom) / 2
    return replace(
        network,
        top_m=np.where(second, middle_m[which], network.top_m[which]),
        bottom_m=np.where(first, middle_m[which], network.bottom_m[which]),
        step_m=network.step_m[which] / halves[which],
        in_gap=network.in_gap[which],
        section=network.section[which],
        share_top=np.where(second, middle[which], network.share_top[which]),
        share_bottom=np.where(first, middle[which], network.share_bottom[which]),
        step_at=moved[network.step_at][which] + second,
        hole_at=moved[network.hole_at],
        jump_at=moved[network.jump_at],
        elements=int(room.sum()),
    )
