"""A chanter and a reed by their sizes: records that check themselves.

Diameters and lengths in millimetres, positions from the top of the bore (the throat, where the seat's socket
ends) towards the sole. Guarded by `tests/faults/test_bad_geometry.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import HOLES
from canebench.base.sizes import MINUS, PER_CENT, POINT, Range, said
from canebench.bore.radiation import FINGER_HOLE, UNFLANGED

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST_SECTIONS: Final = 200
MOST_VENTS: Final = 6

LENGTH: Final = Range(low=0.01, high=700.0, usual=80.0)
BORE: Final = Range(low=1.0, high=60.0, usual=8.0)
HOLE: Final = Range(low=1.0, high=20.0, usual=6.0)
WALL: Final = Range(low=0.5, high=20.0, usual=4.0)
BORE_LENGTH: Final = Range(low=150.0, high=700.0, usual=330.0)
GAP: Final = Range(low=0.0, high=15.0, usual=3.0)
#: What reeds' cavities and blades come to, in the widest sense.
VOLUME: Final = Range(
    low=20.0,
    high=2000.0,
    usual=240.0,
    unit="mm³",
    slips=(
        MINUS,
        (1e3, "if that was cubic centimetres"),
        (25.4**3, "if that was cubic inches"),
        POINT,
    ),
)
#: A lowest hole above this share of the bore was counted in a larger unit: centimetres make it less.
_HIGHEST_LOW_A: Final = 0.1
#: Where the low A hole usually lies, as a share of the bore.
_USUAL_LOW_A: Final = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class BoreSection:
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

    staple: BoreSection
    volume_mm3: float

    def __post_init__(self) -> None:
        _kind("staple", self.staple, BoreSection)
        VOLUME.check("volume of the reed", self.volume_mm3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chanter:
    """A chanter: seat, bore from throat to sole, eight finger holes from the top down, vents.

    `hole_correction` and `sole_correction` are end corrections over the radius. `step_masses` adds the mass
    of a sudden change of diameter inside the bore (never at the seat's gap, which is too short for it).
    """

    name: str
    seat: Seat
    sections: tuple[BoreSection, ...]
    holes: tuple[Hole, ...]
    vents: tuple[Hole, ...] = ()
    hole_correction: float = FINGER_HOLE
    sole_correction: float = UNFLANGED
    step_masses: bool = True
    marks: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        _kind("name", self.name, str)
        _kind("seat", self.seat, Seat)
        _kind("step_masses", self.step_masses, bool)
        _all("sections", self.sections, BoreSection, least=1, most=MOST_SECTIONS, hint="take fewer points")
        _all("holes", self.holes, Hole, least=len(HOLES), most=len(HOLES), hint="vents are given apart")
        _all("vents", self.vents, Hole, least=0, most=MOST_VENTS, hint="finger holes are given apart")
        BORE_LENGTH.check("length of the bore", self.length_mm)
        mean_mm = sum(hole.diameter_mm for hole in self.holes) / len(self.holes)
        _correction_range(mean_mm).check("hole_correction", self.hole_correction)
        _correction_range(self.sections[-1].bottom_mm).check("sole_correction", self.sole_correction)
        self._check_unit()
        self._check_order()
        self._check_widths()
        self._check_gaps()

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

    def _check_unit(self) -> None:
        """Positions that are small by themselves but not beside the bore were counted in another unit."""
        lowest_mm, length_mm = self.holes[-1].position_mm, self.length_mm
        if lowest_mm < _HIGHEST_LOW_A * length_mm:
            low, usual = _HIGHEST_LOW_A * length_mm, _USUAL_LOW_A * length_mm
            Range(low=low, high=length_mm, usual=usual).check("position of the lowest finger hole", lowest_mm)

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

    def _check_gaps(self) -> None:
        """Neighbours do not run into each other; vents may, since they may lie on opposite sides."""
        low_a = (HOLES[-1], self.holes[-1])
        pairs = [*pairwise(zip(HOLES, self.holes, strict=True)), *((low_a, ("vent", v)) for v in self.vents)]
        for (upper, above), (lower, below) in pairs:
            edge_mm = above.position_mm + above.diameter_mm / 2
            if below.position_mm - below.diameter_mm / 2 < edge_mm:
                raise InputError(
                    field="position of a vent" if lower == "vent" else f"position of the {lower} hole",
                    given=f"{below.position_mm:g} mm, at a width of {below.diameter_mm:g} mm",
                    allowed=f"its upper edge lies below the lower one of the {upper} hole, at {edge_mm:g} mm",
                    nearest="perhaps one position is wrong, or a circumference was given for a diameter",
                )


def _named(chanter: Chanter) -> list[tuple[str, Hole]]:
    names = [f"the {name} hole" for name in HOLES] + ["a vent"] * len(chanter.vents)
    return list(zip(names, chanter.openings, strict=True))


def _correction_range(diameter_mm: float) -> Range:
    """End corrections over the radius: 0.61 for a thin wall, 0.82 in a wide one."""
    slips = ((2 / diameter_mm, "if that was millimetres"), PER_CENT)
    return Range(low=0.3, high=1.2, usual=0.65, unit="radii", slips=slips)


def _kind(name: str, given: object, kind: type) -> None:
    if not isinstance(given, kind):
        raise InputError(field=name, given=said(given), allowed=f"a {kind.__name__} is needed")


def _all(name: str, items: Sequence[object], kind: type, *, least: int, most: int, hint: str) -> None:
    """A tuple of so many of a kind: a list could be changed behind the checks."""
    _kind(name, items, tuple)
    if not least <= len(items) <= most:
        allowed = f"exactly {least}" if least == most else f"{least} to {most}"
        raise InputError(field=name, given=f"{len(items)}", allowed=f"{allowed} are needed", nearest=hint)
    for item in items:
        _kind(name, item, kind)
