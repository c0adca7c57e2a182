"""From sizes in millimetres to the arrays that the network is computed from, in SI units.

The bore is cut where something happens (a section ends, a hole sits) and each piece into an even number of
equal steps, so that Simpson's rule can integrate along it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.bore.autodiff import Tangent
from canebench.bore.losses import Medium

if TYPE_CHECKING:
    from canebench.base.arrays import BoolArray, FloatArray, IntArray
    from canebench.bore.autodiff import Number
    from canebench.bore.gas.air import Air
    from canebench.bore.geometry import Chanter, Reed

_MM: Final = 1e-3
#: Longest step in a cone and in a cylinder (where a step is exact but Simpson's rule is not).
_CONE_M: Final = 10e-3
_CYLINDER_M: Final = 20e-3
_AIR: Final = (
    "density_kg_m3",
    "speed_m_s",
    "viscosity_pa_s",
    "conductivity_w_mk",
    "heat_capacity_j_kgk",
    "gamma",
)
FIELDS: Final = ("density_kg_m3", "stiffness_pa", "viscosity_m2_s", "diffusivity_m2_s", "gamma")
#: The derivatives of an air whose temperature is of no interest.
STILL: Final = Medium(**dict.fromkeys(FIELDS, 0.0), layer_scale=0.0)
STAPLE: Final = -2
GAP: Final = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """A chanter with a reed in an air, as K steps, H openings and J jumps of diameter in a chain.

    Radii and lengths in metres, along the chain from reed to sole. `section` (K,) is the section that a step
    belongs to (`STAPLE`, `GAP` or its number), `share_top` and `share_bottom` how far along that section the
    step begins and ends, likewise for the holes. `step_at`, `hole_at` and `jump_at` are places in the chain.
    `medium_per_degc` holds the derivatives of `medium`.
    """

    chanter: Chanter
    reed: Reed
    medium: Medium
    medium_per_degc: Medium
    top_m: FloatArray
    bottom_m: FloatArray
    step_m: FloatArray
    in_gap: BoolArray
    section: IntArray
    share_top: FloatArray
    share_bottom: FloatArray
    step_at: IntArray
    hole_at: IntArray
    hole_m: FloatArray
    hole_section: IntArray
    hole_share: FloatArray
    bore_m: FloatArray
    wall_m: FloatArray
    jump_at: IntArray
    jump_mass: FloatArray
    end_m: float
    volume_m3: float
    elements: int


def medium_of(air: Air) -> Medium:
    """What the wave feels of `air` in a smooth bore."""
    return _medium(*(getattr(air, name) for name in _AIR))


def medium_per_degc(air: Air, per_degc: Air) -> Medium:
    """Derivatives of `medium_of` from those of the air."""
    fields = [
        Tangent(np.array(getattr(air, name), complex), np.array([getattr(per_degc, name)], complex))
        for name in _AIR
    ]
    medium = _medium(*fields)
    return Medium(**{name: float(getattr(medium, name).by[0].real) for name in FIELDS}, layer_scale=0.0)


def _medium(
    density: Number, speed: Number, viscosity: Number, conductivity: Number, heat: Number, gamma: Number
) -> Medium:
    return Medium(
        density_kg_m3=density,
        stiffness_pa=density * (speed * speed),
        viscosity_m2_s=viscosity / density,
        diffusivity_m2_s=conductivity / (density * heat),
        gamma=gamma,
    )


def assemble(chanter: Chanter, reed: Reed, medium: Medium, *, per_degc: Medium = STILL) -> Network:
    """Cut the bore into pieces and steps; `per_degc` is needed only for sensitivities to temperature."""
    chain = _Chain()
    staple, seat = reed.staple, chanter.seat
    chain.piece(STAPLE, staple.length_mm, staple.top_mm, staple.bottom_mm)
    chain.piece(GAP, 0.0, seat.diameter_mm, seat.diameter_mm)
    start_mm, last_mm = 0.0, None
    for number, section in enumerate(chanter.sections):
        if last_mm is not None and chanter.step_masses and last_mm != section.top_mm:
            chain.jump(last_mm, section.top_mm)
        here = sorted(
            (hole.position_mm - start_mm, index)
            for index, hole in enumerate(chanter.openings)
            if start_mm < hole.position_mm <= start_mm + section.length_mm
        )
        chain.section(number, section.length_mm, section.top_mm, section.bottom_mm, here)
        start_mm, last_mm = start_mm + section.length_mm, section.bottom_mm
    order = np.argsort(chain.hole_index)
    density = medium.density_kg_m3
    openings = chanter.openings
    return Network(
        chanter=chanter,
        reed=reed,
        medium=medium,
        medium_per_degc=per_degc,
        top_m=np.array(chain.top_mm) * (_MM / 2),
        bottom_m=np.array(chain.bottom_mm) * (_MM / 2),
        step_m=np.array(chain.step_mm) * _MM,
        in_gap=np.array(chain.of_section) == GAP,
        section=np.array(chain.of_section),
        share_top=np.array(chain.share_top),
        share_bottom=np.array(chain.share_bottom),
        step_at=np.array(chain.step_at),
        hole_at=np.array(chain.hole_at)[order],
        hole_m=np.array([hole.diameter_mm for hole in openings]) * (_MM / 2),
        hole_section=np.array(chain.hole_section)[order],
        hole_share=np.array(chain.hole_share)[order],
        bore_m=np.array(chain.hole_bore_mm)[order] * (_MM / 2),
        wall_m=np.array([hole.wall_mm for hole in openings]) * _MM,
        jump_at=np.array(chain.jump_at, int),
        jump_mass=np.asarray(density * np.array(chain.jump_per_m)),
        end_m=chanter.sections[-1].bottom_mm * (_MM / 2),
        volume_m3=reed.volume_mm3 * 1e-9,
        elements=chain.elements,
    )


@dataclass(slots=True)
class _Chain:
    """The chain while it grows from the reed down."""

    elements: int = 0
    top_mm: list[float] = field(default_factory=list)
    bottom_mm: list[float] = field(default_factory=list)
    step_mm: list[float] = field(default_factory=list)
    of_section: list[int] = field(default_factory=list)
    share_top: list[float] = field(default_factory=list)
    share_bottom: list[float] = field(default_factory=list)
    step_at: list[int] = field(default_factory=list)
    hole_at: list[int] = field(default_factory=list)
    hole_index: list[int] = field(default_factory=list)
    hole_bore_mm: list[float] = field(default_factory=list)
    hole_section: list[int] = field(default_factory=list)
    hole_share: list[float] = field(default_factory=list)
    jump_at: list[int] = field(default_factory=list)
    jump_per_m: list[float] = field(default_factory=list)

    def section(
        self, number: int, length_mm: float, top_mm: float, bottom_mm: float, holes: list[tuple[float, int]]
    ) -> None:
        """A section, cut at its holes."""
        done_mm = 0.0
        for at_mm, index in [*holes, (length_mm, None)]:
            if at_mm > done_mm:
                shares = (done_mm / length_mm, at_mm / length_mm)
                ends = [top_mm + share * (bottom_mm - top_mm) for share in shares]
                self.piece(number, at_mm - done_mm, ends[0], ends[1], shares)
                done_mm = at_mm
            if index is not None:
                self.hole_at.append(self.elements)
                self.hole_index.append(index)
                self.hole_section.append(number)
                self.hole_share.append(at_mm / length_mm)
                self.hole_bore_mm.append(top_mm + at_mm / length_mm * (bottom_mm - top_mm))
                self.elements += 1

    def piece(
        self,
        number: int,
        length_mm: float,
        top_mm: float,
        bottom_mm: float,
        shares: tuple[float, float] = (0.0, 1.0),
    ) -> None:
        """A piece without events."""
        longest_mm = (_CYLINDER_M if top_mm == bottom_mm else _CONE_M) / _MM
        # Near a cone's apex waves change within a step: steep short pieces, such as staples, are cut finer.
        taper = abs(bottom_mm - top_mm) / min(top_mm, bottom_mm)
        pairs = max(1, math.ceil(length_mm / longest_mm / 2), min(math.ceil(2 * taper), 4))
        edges = np.linspace(0.0, 1.0, 2 * pairs + 1)
        radii = top_mm + edges * (bottom_mm - top_mm)
        along = shares[0] + edges * (shares[1] - shares[0])
        self.top_mm += radii[:-1].tolist()
        self.bottom_mm += radii[1:].tolist()
        self.step_mm += [length_mm / (2 * pairs)] * (2 * pairs)
        self.of_section += [number] * (2 * pairs)
        self.share_top += along[:-1].tolist()
        self.share_bottom += along[1:].tolist()
        self.step_at += range(self.elements, self.elements + 2 * pairs)
        self.elements += 2 * pairs

    def jump(self, above_mm: float, below_mm: float) -> None:
        """A sudden change of diameter: an acoustic mass in series.

        rho / r_min * (0.26164 - 0.353 a + 0.0809 a^3 + 0.03816 a^4 - 0.12386 a^5 + 0.09616 a^6), a being
        r_min/r_max (Kergomard & Garcia 1987, J. Sound Vib. 114:465, in the one formula of Taillard 2018).
        """
        smaller, ratio = min(above_mm, below_mm) / 2 * _MM, min(above_mm, below_mm) / max(above_mm, below_mm)
        shape = np.polyval((0.09616, -0.12386, 0.03816, 0.0809, 0.0, -0.353, 0.26164), ratio)
        self.jump_at.append(self.elements)
        self.jump_per_m.append(float(shape) / smaller)
        self.elements += 1
