"""What is not known of a chanter, as standard normal variables: from them to an instrument, and slopes.

Each unknown z_i is standard normal before anything was measured (`chanter_file.Spread`): sizes are
lognormal, size * exp(spread * z), so that none becomes negative; offsets, temperature and gap are linear.
Guarded by `tests/cross_method/test_unknowns.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.fingering import HOLES
from canebench.base.notes import NOTES
from canebench.bore.instrument import PINCH_SHARE, Instrument
from canebench.bore.tape import share_per_mm

if TYPE_CHECKING:
    from canebench.base.arrays import FloatArray
    from canebench.base.setting import Setting
    from canebench.bore.chanter_file import ChanterFile
    from canebench.bore.gas.air import Conditions
    from canebench.bore.geometry import Chanter, Hole
    from canebench.bore.sensitivity import Sensitivity

#: Logarithmic spread of what a pinch takes: from half to double within one standard deviation.
_PINCH_SPREAD: Final = 0.7
#: A hole is never drawn wider than this share of the bore.
_WIDEST: Final = 0.98
_SINGLE: Final = ("reed", "seat", "gap", "walls", "air", "pinch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknowns:
    """The unknowns of one chanter: P of them, the last nine being the notes' offsets."""

    start: ChanterFile
    conditions: Conditions

    @property
    def names(self) -> tuple[str, ...]:
        """What each unknown stands for."""
        nodes = len(self.start.chanter.sections) + 1
        return (
            *_SINGLE,
            *(f"bore at node {node}" for node in range(nodes)),
            *(f"{hole} hole" for hole in HOLES),
            "vents",
            *(f"offset of {note}" for note in NOTES),
        )

    def instrument(self, z: FloatArray) -> Instrument:
        """The instrument that these values stand for."""
        spread, start = self.start.spread, self.start
        single = dict(zip(_SINGLE, z, strict=False))
        return Instrument(
            chanter=_chanter(start, z),
            reed=replace(start.reed, volume_mm3=start.reed.volume_mm3 * _grown(spread.reed, single["reed"])),
            conditions=replace(
                self.conditions, temp_degc=self.conditions.temp_degc + spread.temp_degc * single["air"]
            ),
            layer_scale=_grown(spread.walls, single["walls"]),
            pinch_share=min(0.5, PINCH_SHARE * _grown(_PINCH_SPREAD, single["pinch"])),
        )

    def offsets_cents(self, z: FloatArray) -> FloatArray:
        """What is added to the model's pitch, note by note."""
        return np.asarray(self.start.spread.offset_cents * z[-len(NOTES) :])

    def slopes(self, instrument: Instrument, setting: Setting, by: Sensitivity) -> FloatArray:
        """Cents per unit of each unknown at the instrument's sizes: shape (9, P)."""
        spread, chanter = self.start.spread, instrument.chanter
        volume = instrument.volume_mm3(setting.pinches)
        share = instrument.pinch_share
        deeper = -by.seat_per_mm if chanter.seat.gap_mm > setting.seat_mm else 0.0 * by.seat_per_mm
        columns = [
            by.reed_per_mm3 * volume * spread.reed,
            by.seat_diameter_per_mm * chanter.seat.diameter_mm * spread.seat,
            deeper * spread.gap_mm,
            by.layer_scale * instrument.layer_scale * spread.walls,
            by.per_degc * spread.temp_degc,
            by.reed_per_mm3 * volume * -setting.pinches * share / (1 - share) * _PINCH_SPREAD,
        ]
        columns += list(_node_slopes(chanter, by).T * spread.bore)
        wider = spread.holes * (by.hole_per_mm * [hole.diameter_mm for hole in chanter.openings])
        wider[:, : len(HOLES)] += (
            spread.holes * by.open_share[:, : len(HOLES)] * _less_covered(chanter, setting)
        )
        wider *= [not _is_widest(chanter, hole) for hole in chanter.openings]
        columns += [*wider[:, : len(HOLES)].T, wider[:, len(HOLES) :].sum(axis=1)]
        return np.column_stack([*columns, spread.offset_cents * np.eye(len(NOTES))])


def _grown(spread: float, z: float) -> float:
    return float(np.exp(spread * z))


def _chanter(start: ChanterFile, z: FloatArray) -> Chanter:
    """The chanter with its bore, holes, seat and gap changed."""
    chanter, spread = start.chanter, start.spread
    nodes = len(chanter.sections) + 1
    first = len(_SINGLE)
    grown = np.exp(spread.bore * z[first : first + nodes])
    holes = np.exp(spread.holes * z[first + nodes : first + nodes + len(HOLES) + 1])
    sections = tuple(
        replace(
            section,
            top_mm=section.top_mm * float(grown[i]),
            bottom_mm=section.bottom_mm * float(grown[i + 1]),
        )
        for i, section in enumerate(chanter.sections)
    )
    seat = replace(
        chanter.seat,
        diameter_mm=chanter.seat.diameter_mm * _grown(spread.seat, z[1]),
        gap_mm=float(np.clip(chanter.seat.gap_mm + spread.gap_mm * z[2], 0.0, 15.0)),
    )
    # Without its holes first: a chanter checks its holes against its bore.
    bored = replace(chanter, sections=sections, seat=seat, holes=_narrow(chanter.holes), vents=())
    return replace(
        bored,
        holes=tuple(_scaled(bored, hole, holes[i]) for i, hole in enumerate(chanter.holes)),
        vents=tuple(_scaled(bored, vent, holes[-1]) for vent in chanter.vents),
    )


def _narrow(holes: tuple[Hole, ...]) -> tuple[Hole, ...]:
    return tuple(replace(hole, diameter_mm=1.0) for hole in holes)


def _scaled(chanter: Chanter, hole: Hole, factor: float) -> Hole:
    widest = _WIDEST * chanter.bore_mm(hole.position_mm)
    return replace(hole, diameter_mm=min(hole.diameter_mm * float(factor), widest))


def _is_widest(chanter: Chanter, hole: Hole) -> bool:
    """Whether a hole is held at the widest that its bore allows, so that growing it further does nothing."""
    return hole.diameter_mm >= _WIDEST * chanter.bore_mm(hole.position_mm) * (1 - 1e-9)


def _less_covered(chanter: Chanter, setting: Setting) -> list[float]:
    """Open share that each hole gains for a relative growth of its diameter, the strip staying where it is.

    The covered share depends on covered/diameter alone, hence d(share)/d(ln diameter) = -covered * slope.
    """
    return [
        covered * share_per_mm(covered, diameter_mm=hole.diameter_mm)
        for hole, covered in (
            (hole, setting.tape_mm.get(name, 0.0)) for name, hole in zip(HOLES, chanter.holes, strict=True)
        )
    ]


def _node_slopes(chanter: Chanter, by: Sensitivity) -> FloatArray:
    """Cents per relative change of the diameter at each node of the profile: shape (9, nodes)."""
    found = np.zeros((by.top_per_mm.shape[0], len(chanter.sections) + 1))
    for i, section in enumerate(chanter.sections):
        found[:, i] += by.top_per_mm[:, i] * section.top_mm
        found[:, i + 1] += by.bottom_per_mm[:, i] * section.bottom_mm
    return found
