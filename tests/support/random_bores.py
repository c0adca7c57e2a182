"""Random but plausible chanters, by seed, for two ways of computing them: ours and finite elements.

Every other bore has a wide gap below its staple. Our model places no step masses at the sides of that gap,
the other library has one switch for all: so where the gap is wide both go without step masses, and where
both have them the gap continues the staple's end into the throat.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from canebench.base.fingering import HOLES
from canebench.bore.geometry import BoreSection, Chanter, Hole, Reed, Seat
from canebench.bore.radiation import UNFLANGED

_MM = 1e-3
#: Holes and the ends of sections keep this far apart, and holes from the sole.
_CLEAR_MM = 2.0
_STEP_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomBore:
    """A chanter with its reed, the reed seated at the gap of the chanter's seat."""

    chanter: Chanter
    reed: Reed

    @property
    def gap_m(self) -> float:
        """Length of the gap below the staple, metres."""
        return self.chanter.seat.gap_mm * _MM


def random_bore(seed: int) -> RandomBore:
    """A bore drawn from `seed`: step masses with an even one, a wide gap with an odd one."""
    rng = np.random.default_rng(seed)
    wide = seed % 2 == 1
    staple_mm = rng.uniform(3.6, 4.4)
    throat_mm = rng.uniform(3.6, 4.6) if wide else staple_mm
    gap = Seat(diameter_mm=rng.uniform(4.0, 8.0) if wide else staple_mm, gap_mm=rng.uniform(0.5, 6.0))
    staple = BoreSection(length_mm=rng.uniform(20, 28), top_mm=rng.uniform(2.4, 3.0), bottom_mm=staple_mm)
    sections = _sections(rng, length_mm=rng.uniform(300, 370), throat_mm=throat_mm)
    places = _places(rng, sections)
    bare = Chanter(
        name=f"random bore {seed}",
        seat=gap,
        sections=sections,
        holes=tuple(
            Hole(position_mm=at, diameter_mm=1.0, wall_mm=rng.uniform(3, 7)) for at in places[: len(HOLES)]
        ),
        vents=tuple(
            Hole(position_mm=at, diameter_mm=1.0, wall_mm=rng.uniform(3, 7)) for at in places[len(HOLES) :]
        ),
        hole_correction=UNFLANGED,
        sole_correction=UNFLANGED,
        step_masses=not wide,
    )
    return RandomBore(
        chanter=_drilled(rng, bare), reed=Reed(staple=staple, volume_mm3=rng.uniform(100.0, 300.0))
    )


def _sections(rng: np.random.Generator, *, length_mm: float, throat_mm: float) -> tuple[BoreSection, ...]:
    """One to four, widening unevenly from the throat to the sole; some cylindrical, some after a step."""
    count = int(rng.integers(1, 5))
    shares = np.concatenate([[0.0], np.sort(rng.uniform(0.08, 0.92, count - 1)), [1.0]])
    lean = rng.uniform(0.7, 1.4)
    widths = throat_mm + (rng.uniform(17, 24) - throat_mm) * shares**lean
    found: list[BoreSection] = []
    top_mm = throat_mm
    for number, (share, share_below) in enumerate(pairwise(shares)):
        last = number == count - 1
        bottom_mm = widths[number + 1]
        if not last and rng.random() < 0.25:
            bottom_mm = top_mm
        found.append(
            BoreSection(
                length_mm=float((share_below - share) * length_mm),
                top_mm=float(top_mm),
                bottom_mm=float(bottom_mm),
            )
        )
        top_mm = bottom_mm * rng.uniform(0.85, 1.3) if rng.random() < _STEP_SHARE else bottom_mm
    return tuple(found)


def _places(rng: np.random.Generator, sections: tuple[BoreSection, ...]) -> list[float]:
    """Eight holes and one or two vents below them, millimetres from the throat, clear of every joint."""
    joints = np.cumsum([section.length_mm for section in sections])
    for _ in range(10_000):
        first = rng.uniform(60, 100)
        holes = first + np.concatenate([[0.0], np.cumsum(rng.uniform(15, 33, len(HOLES) - 1))])
        vent = holes[-1] + rng.uniform(18, 45)
        vents = [vent, vent + rng.uniform(4, 12)][: int(rng.integers(1, 3))]
        places = [*holes, *vents]
        if places[-1] < joints[-1] - 20 and np.abs(np.subtract.outer(places, joints)).min() > _CLEAR_MM:
            return [float(at) for at in places]
    raise AssertionError("no places for the holes")


def _drilled(rng: np.random.Generator, bare: Chanter) -> Chanter:
    """The chanter with holes of 3.5 to 7.5 mm, each no wider than the bore at its place."""

    def drill(hole: Hole) -> Hole:
        most_mm = min(7.5, 0.98 * bare.bore_mm(hole.position_mm))
        width_mm = float(rng.uniform(min(3.5, most_mm), most_mm))
        return Hole(position_mm=hole.position_mm, diameter_mm=width_mm, wall_mm=hole.wall_mm)

    return Chanter(
        name=bare.name,
        seat=bare.seat,
        sections=bare.sections,
        holes=tuple(drill(hole) for hole in bare.holes),
        vents=tuple(drill(hole) for hole in bare.vents),
        hole_correction=bare.hole_correction,
        sole_correction=bare.sole_correction,
        step_masses=bare.step_masses,
    )
