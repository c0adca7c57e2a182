"""A chanter and a reed by their sizes: records that check themselves.

Diameters and lengths in millimetres, positions from the top of the bore (the throat, where the seat's socket
ends) towards the sole. Guarded by `tests/faults/test_bad_geometry.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import HOLES
from canebench.bore.radiation import FINGER_HOLE, FLANGED, UNFLANGED

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_SECTIONS: Final = 200
MOST_VENTS: Final = 6
_INCH_MM: Final = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """What a size may be, millimetres, and so which slip a value outside it looks like."""

    low: float
    high: float

    def check(self, name: str, value: float) -> None:
        """An error that names the field, the range and the likely slip where `value` is outside."""
        if not isinstance(value, (int, float)) or not math.isfinite(value):
            raise InputError(field=name, given=repr(value), allowed="a number of millimetres is needed")
        if self.low <= value <= self.high:
            return
        raise InputError(
            field=name,
            given=f"{value:g} mm",
            allowed=f"from {self.low:g} to {self.high:g} mm is allowed",
            nearest=self._slip(value),
        )

    def _slip(self, value: float) -> str:
        slips = (
            (-value, "without the minus sign"),
            (value * _INCH_MM, "if that was inches"),
            (value * 10, "if that was centimetres"),
            (value * 1000, "if that was metres"),
            (value / 10, "if the decimal point slipped"),
        )
        for candidate, why in slips:
            if self.low <= candidate <= self.high:
                return f"{candidate:g} mm, {why}"
        return f"{min(max(value, self.low), self.high):g} mm"


LENGTH: Final = Range(low=0.01, high=700.0)
BORE: Final = Range(low=1.0, high=60.0)
HOLE: Final = Range(low=1.0, high=20.0)
WALL: Final = Range(low=0.5, high=20.0)
BORE_LENGTH: Final = Range(low=150.0, high=700.0)
GAP: Final = Range(low=0.0, high=15.0)
#: What reeds' cavities and blades come to, in the widest sense.
VOLUME_MM3: Final = (20.0, 2000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A conical or cylindrical length of bore."""

    length_mm: float
    top_mm: float
    bottom_mm: float

    def __post_init__(self) -> None:
        LENGTH.check("length of a section", self.length_mm)
        BORE.check("upper diameter of a section", self.top_mm)
        BORE.check("lower diameter of a section", self.bottom_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A finger hole or a vent: where its middle is, how wide, and how long its chimney."""

    position_mm: float
    diameter_mm: float
    wall_mm: float

    def __post_init__(self) -> None:
        LENGTH.check("position of a hole", self.position_mm)
        HOLE.check("diameter of a hole", self.diameter_mm)
        WALL.check("wall at a hole", self.wall_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """The socket below the staple.

    `gap_mm` is what is left between staple and throat at a firm hand seat, the zero point of depth;
    `diameter_mm` the socket's inside there.
    """

    diameter_mm: float
    gap_mm: float

    def __post_init__(self) -> None:
        BORE.check("diameter of the seat", self.diameter_mm)
        GAP.check("gap below the staple", self.gap_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reed:
    """A reed as the bore feels it: its staple, and the volume that blades and compliance come to.

    `volume_mm3` is V + rho c^2 dV/dp: geometric volume above the staple plus that which the blades yield.
    """

    staple: Section
    volume_mm3: float

    def __post_init__(self) -> None:
        low, high = VOLUME_MM3
        if not low <= self.volume_mm3 <= high:
            raise InputError(
                field="volume of the reed",
                given=f"{self.volume_mm3:g} mm³",
                allowed=f"from {low:g} to {high:g} mm³ is allowed",
                nearest=f"{min(max(self.volume_mm3, low), high):g} mm³",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Chanter:
    """A chanter: seat, bore from throat to sole, eight finger holes from the top down, vents.

    `hole_correction` and `sole_correction` are end corrections over the radius. `step_masses` adds the mass
    of a sudden change of diameter inside the bore (never at the seat's gap, which is too short for it).
    """

    name: str
    seat: Seat
    sections: tuple[Section, ...]
    holes: tuple[Hole, ...]
    vents: tuple[Hole, ...] = ()
    hole_correction: float = FINGER_HOLE
    sole_correction: float = UNFLANGED
    step_masses: bool = True
    marks: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        _count("sections", self.sections, least=1, most=MOST_SECTIONS)
        _count("holes", self.holes, least=len(HOLES), most=len(HOLES))
        _count("vents", self.vents, least=0, most=MOST_VENTS)
        BORE_LENGTH.check("length of the bore", self.length_mm)
        for name in ("hole_correction", "sole_correction"):
            if not 0.3 <= getattr(self, name) <= 1.2:
                raise InputError(
                    field=name,
                    given=f"{getattr(self, name):g}",
                    allowed=f"end correction over radius: {UNFLANGED} (thin) to {FLANGED} (in a wall)",
                )
        self._check_order()
        self._check_widths()

    @property
    def length_mm(self) -> float:
        """From throat to sole."""
        return sum(section.length_mm for section in self.sections)

    @property
    def openings(self) -> tuple[Hole, ...]:
        """Finger holes, then vents."""
        return (*self.holes, *self.vents)

    def hole(self, name: str) -> Hole:
        """The finger hole of that name."""
        if name not in HOLES:
            raise UnknownNameError(field="hole", given=name, known=HOLES)
        return self.holes[HOLES.index(name)]

    def bore_mm(self, position_mm: float) -> float:
        """Diameter of the bore at a distance below the throat."""
        start = 0.0
        for section in self.sections:
            if position_mm <= start + section.length_mm:
                share = (position_mm - start) / section.length_mm
                return section.top_mm + share * (section.bottom_mm - section.top_mm)
            start += section.length_mm
        return self.sections[-1].bottom_mm

    def _check_order(self) -> None:
        named = list(zip(HOLES, self.holes, strict=True))
        for (upper, above), (lower, below) in pairwise(named):
            if not above.position_mm < below.position_mm:
                raise InputError(
                    field=f"position of the {lower} hole",
                    given=f"{below.position_mm:g} mm",
                    allowed=f"it lies below the {upper} hole, which is at {above.position_mm:g} mm",
                    nearest="perhaps the two are exchanged, or counted from the sole",
                )
        lowest = self.holes[-1].position_mm
        for name, hole in _named(self):
            if not hole.position_mm < self.length_mm:
                raise InputError(
                    field=f"position of {name}",
                    given=f"{hole.position_mm:g} mm",
                    allowed=f"the bore ends at {self.length_mm:g} mm",
                    nearest="positions count from the throat, the length is the sum of the sections",
                )
        for vent in self.vents:
            if vent.position_mm <= lowest:
                raise InputError(
                    field="position of a vent",
                    given=f"{vent.position_mm:g} mm",
                    allowed=f"vents lie below the low A hole, which is at {lowest:g} mm",
                )

    def _check_widths(self) -> None:
        for name, hole in _named(self):
            bore_mm = self.bore_mm(hole.position_mm)
            if hole.diameter_mm > bore_mm:
                raise InputError(
                    field=f"diameter of {name}",
                    given=f"{hole.diameter_mm:g} mm",
                    allowed=f"the bore there is {bore_mm:.2f} mm wide and a hole is no wider",
                    nearest="perhaps a radius was given for the bore, or the hole was measured outside",
                )


def _named(chanter: Chanter) -> list[tuple[str, Hole]]:
    names = [f"the {name} hole" for name in HOLES] + ["a vent"] * len(chanter.vents)
    return list(zip(names, chanter.openings, strict=True))


def _count(name: str, items: Sequence[object], *, least: int, most: int) -> None:
    if not least <= len(items) <= most:
        allowed = f"exactly {least}" if least == most else f"{least} to {most}"
        raise InputError(field=name, given=f"{len(items)}", allowed=f"{allowed} are needed")
