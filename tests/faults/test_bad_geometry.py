"""Sizes that cannot be: each is one error that names the field, its range and the likely slip, at once."""

from __future__ import annotations

import math
import re
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import notes_through
from canebench.base.setting import Setting
from canebench.bore.geometry import BoreSection, Chanter, Hole, Reed, Seat
from canebench.bore.tape import covered_mm, covered_share, share_per_mm
from support.bores import invented_chanter, invented_reed
from support.effort import worked_s

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_GOOD = invented_chanter()
#: However large the nonsense: no loop over it, no memory for it.
_AT_ONCE_S = 1.0


def _section(*, length_mm: float = 325.0, top_mm: float = 4.0, bottom_mm: float = 20.0) -> BoreSection:
    return BoreSection(length_mm=length_mm, top_mm=top_mm, bottom_mm=bottom_mm)


def _hole(*, position_mm: float = 100.0, diameter_mm: float = 5.0, wall_mm: float = 5.0) -> Hole:
    return Hole(position_mm=position_mm, diameter_mm=diameter_mm, wall_mm=wall_mm)


def _moved(index: int, **sizes: float) -> Chanter:
    """The invented chanter with one hole changed; holes count from the thumb's down."""
    holes = list(_GOOD.holes)
    holes[index] = replace(holes[index], **sizes)
    return replace(_GOOD, holes=tuple(holes))


def _exchanged() -> Chanter:
    holes = list(_GOOD.holes)
    holes[3], holes[4] = holes[4], holes[3]
    return replace(_GOOD, holes=tuple(holes))


def _placed(factor: float) -> Chanter:
    """All holes at so many times their positions, the bore as it is."""
    holes = [replace(hole, position_mm=hole.position_mm * factor) for hole in _GOOD.holes]
    return replace(_GOOD, holes=tuple(holes))


def _from_the_sole() -> Chanter:
    holes = [replace(hole, position_mm=325.0 - hole.position_mm) for hole in _GOOD.holes]
    return replace(_GOOD, holes=tuple(holes))


def _sections(count: int) -> Chanter:
    return replace(_GOOD, sections=(_section(length_mm=0.4, top_mm=20.0),) * count)


#: What is done, the field that is named, what is said of the range, and of the slip.
REFUSED: dict[str, tuple[Callable[[], object], str, str, str | None]] = {
    "a hole beyond the end": (
        lambda: _moved(7, position_mm=330.0),
        "position of the low A hole",
        "the bore ends at 325 mm",
        "positions count from the throat",
    ),
    "a hole at the very end": (
        lambda: _moved(7, position_mm=325.0),
        "position of the low A hole",
        "the bore ends at 325 mm",
        "the length is the sum of the sections",
    ),
    "a vent beyond the end": (
        lambda: replace(_GOOD, vents=(_hole(position_mm=400.0),)),
        "position of a vent",
        "the bore ends at 325 mm",
        "positions count from the throat",
    ),
    "a vent above the low A hole": (
        lambda: replace(_GOOD, vents=(_hole(position_mm=200.0),)),
        "position of a vent",
        "vents lie below the low A hole, which is at 228.8 mm",
        None,
    ),
    "a negative length": (
        lambda: _section(length_mm=-325.0),
        "length of a section",
        "from 0.01 to 700 mm is allowed",
        "325 mm, without the minus sign",
    ),
    "a negative diameter": (
        lambda: _hole(diameter_mm=-5.0),
        "diameter of a hole",
        "from 1 to 20 mm is allowed",
        "5 mm, without the minus sign",
    ),
    "no diameter": (lambda: _hole(diameter_mm=0.0), "diameter of a hole", "from 1 to 20 mm", "1 mm"),
    "no length": (lambda: _section(length_mm=0.0), "length of a section", "from 0.01 to 700 mm", "0.01 mm"),
    "a hole in centimetres": (
        lambda: _hole(diameter_mm=0.55),
        "diameter of a hole",
        "from 1 to 20 mm is allowed",
        "5.5 mm, if that was centimetres",
    ),
    "holes placed in centimetres": (
        lambda: _placed(0.1),
        "position of the lowest finger hole",
        "from 32.5 to 325 mm is allowed",
        "228.8 mm, if that was centimetres",
    ),
    "holes placed in inches": (
        lambda: _placed(1 / 25.4),
        "position of the lowest finger hole",
        "from 32.5 to 325 mm is allowed",
        "228.8 mm, if that was inches",
    ),
    "holes placed in metres": (
        lambda: _placed(1e-3),
        "position of the lowest finger hole",
        "from 32.5 to 325 mm is allowed",
        "228.8 mm, if that was metres",
    ),
    "a position beyond all floats": (
        lambda: _hole(position_mm=10**400),
        "position of a hole",
        "from 0.01 to 700 mm is allowed",
        "700 mm",
    ),
    "a diameter beyond all floats": (
        lambda: _section(top_mm=-(10**5000)),
        "upper diameter of a section",
        "from 1 to 60 mm is allowed",
        "1 mm",
    ),
    "two holes that run into each other": (
        lambda: _moved(4, position_mm=126.0),
        "position of the D hole",
        "its upper edge lies below the lower one of the E hole, at 124.235 mm",
        "perhaps one position is wrong",
    ),
    "a vent that runs into a hole": (
        lambda: replace(_GOOD, vents=(_hole(position_mm=232.0),)),
        "position of a vent",
        "its upper edge lies below the lower one of the low A hole, at 232.17 mm",
        "perhaps one position is wrong",
    ),
    "a bore in inches": (
        lambda: _section(top_mm=0.16),
        "upper diameter of a section",
        "from 1 to 60 mm is allowed",
        "4.064 mm, if that was inches",
    ),
    "a hole in inches": (
        lambda: _hole(diameter_mm=0.25),
        "diameter of a hole",
        "from 1 to 20 mm is allowed",
        "6.35 mm, if that was inches",
    ),
    "a wall in inches": (
        lambda: _hole(wall_mm=0.2),
        "wall at a hole",
        "from 0.5 to 20 mm is allowed",
        "5.08 mm, if that was inches",
    ),
    "a whole bore in inches": (
        lambda: replace(_GOOD, sections=(_section(length_mm=14.25),)),
        "length of the bore",
        "from 150 to 700 mm is allowed",
        "361.9 mm, if that was inches",
    ),
    "a whole bore in centimetres": (
        lambda: replace(_GOOD, sections=(_section(length_mm=32.5),)),
        "length of the bore",
        "from 150 to 700 mm is allowed",
        "325 mm, if that was centimetres",
    ),
    "a whole bore in metres": (
        lambda: replace(_GOOD, sections=(_section(length_mm=0.325),)),
        "length of the bore",
        "from 150 to 700 mm is allowed",
        "325 mm, if that was metres",
    ),
    "a hole in metres": (
        lambda: _hole(diameter_mm=0.005),
        "diameter of a hole",
        "from 1 to 20 mm is allowed",
        "5 mm, if that was metres",
    ),
    "a seat in metres": (
        lambda: Seat(diameter_mm=0.006, gap_mm=1.0),
        "diameter of the seat",
        "from 1 to 60 mm is allowed",
        "6 mm, if that was metres",
    ),
    "a decimal point that slipped": (
        lambda: _hole(diameter_mm=55.0),
        "diameter of a hole",
        "from 1 to 20 mm is allowed",
        "5.5 mm, if the decimal point slipped",
    ),
    "micrometres": (
        lambda: _section(top_mm=4_000.0),
        "upper diameter of a section",
        "from 1 to 60 mm",
        "60 mm",
    ),
    "a lower diameter of a metre": (
        lambda: _section(bottom_mm=1_000.0),
        "lower diameter of a section",
        "from 1 to 60 mm",
        "60 mm",
    ),
    "a gap below nothing": (
        lambda: Seat(diameter_mm=6.0, gap_mm=-2.0),
        "gap below the staple",
        "from 0 to 15 mm is allowed",
        "2 mm, without the minus sign",
    ),
    "a reed of a litre": (
        lambda: Reed(staple=_section(length_mm=24.0), volume_mm3=1e6),
        "volume of the reed",
        "from 20 to 2000 mm³ is allowed",
        "2000 mm³",
    ),
    "a reed in cubic centimetres": (
        lambda: Reed(staple=_section(length_mm=24.0), volume_mm3=0.24),
        "volume of the reed",
        "from 20 to 2000 mm³ is allowed",
        "240 mm³, if that was cubic centimetres",
    ),
    "a reed whose point slipped": (
        lambda: Reed(staple=_section(length_mm=24.0), volume_mm3=2400.0),
        "volume of the reed",
        "from 20 to 2000 mm³ is allowed",
        "240 mm³, if the decimal point slipped",
    ),
    "a million sections": (lambda: _sections(1_000_000), "sections", "1 to 200 are needed", "fewer points"),
    "no section": (lambda: _sections(0), "sections", "1 to 200 are needed", None),
    "seven holes": (
        lambda: replace(_GOOD, holes=_GOOD.holes[1:]),
        "holes",
        "exactly 8 are needed",
        "vents are given apart",
    ),
    "nine holes": (
        lambda: replace(_GOOD, holes=(*_GOOD.holes, _GOOD.vents[0])),
        "holes",
        "exactly 8 are needed",
        "vents are given apart",
    ),
    "a million vents": (
        lambda: replace(_GOOD, vents=(_GOOD.vents[0],) * 1_000_000),
        "vents",
        "0 to 6 are needed",
        "finger holes are given apart",
    ),
    "crossed positions": (
        _exchanged,
        "position of the D hole",
        "it lies below the E hole, which is at 152.8 mm",
        "perhaps the two are exchanged",
    ),
    "two holes at one place": (
        lambda: _moved(4, position_mm=120.8),
        "position of the D hole",
        "it lies below the E hole, which is at 120.8 mm",
        "perhaps the two are exchanged",
    ),
    "counted from the sole": (
        _from_the_sole,
        "position of the high G hole",
        "it lies below the high A hole",
        "counted from the sole",
    ),
    "a hole wider than the bore": (
        lambda: _moved(0, diameter_mm=7.5),
        "diameter of the high A hole",
        "the bore there is 7.38 mm wide and a hole is no wider",
        "a radius was given for the bore",
    ),
    "a bore given by its radius": (
        lambda: replace(_GOOD, sections=(_section(top_mm=2.0, bottom_mm=10.125),)),
        "diameter of the high A hole",
        "the bore there is 3.69 mm wide",
        "a radius was given for the bore",
    ),
    "no number": (lambda: _hole(position_mm=math.nan), "position of a hole", "a number of millimetres", None),
    "an endless bore": (
        lambda: _section(length_mm=math.inf),
        "length of a section",
        "a number of mill",
        None,
    ),
    "no number for a gap": (
        lambda: Seat(diameter_mm=6.0, gap_mm=math.nan),
        "gap below the staple",
        "a number of millimetres",
        None,
    ),
    "no number for a volume": (
        lambda: Reed(staple=_section(length_mm=24.0), volume_mm3=math.nan),
        "volume of the reed",
        "a number of cubic millimetres is needed, from 20 to 2000 mm³",
        None,
    ),
    "no number for a correction": (
        lambda: replace(_GOOD, hole_correction=math.nan),
        "hole_correction",
        "a number is needed, from 0.3 to 1.2 radii",
        None,
    ),
    "a correction in millimetres": (
        lambda: replace(_GOOD, sole_correction=6.2),
        "sole_correction",
        "from 0.3 to 1.2 radii is allowed",
        "0.6123 radii, if that was millimetres",
    ),
    "a hole's correction in millimetres": (
        lambda: replace(_GOOD, hole_correction=1.9),
        "hole_correction",
        "from 0.3 to 1.2 radii is allowed",
        "0.656 radii, if that was millimetres",
    ),
    "tape wider than the hole": (
        lambda: covered_share(7.0, diameter_mm=5.5),
        "tape",
        "tape covers from 0 mm to the hole's diameter, 5.5 mm",
        "0.7 mm, if the decimal point slipped",
    ),
    "less than no tape": (
        lambda: covered_share(-1.0, diameter_mm=5.5),
        "tape",
        "tape covers from 0 mm to the hole's diameter, 5.5 mm",
        "1 mm, without the minus sign",
    ),
    "tape in per cent": (
        lambda: covered_mm(30.0, diameter_mm=5.5),
        "tape",
        "a share is from 0 to 1",
        "0.3 of the hole, if that was per cent",
    ),
    "tape in per cent of the diameter": (
        lambda: share_per_mm(30.0, diameter_mm=5.5),
        "tape",
        "tape covers from 0 mm to the hole's diameter, 5.5 mm",
        "1.65 mm, if that was per cent of the diameter",
    ),
    "tape on a hole of no width": (
        lambda: covered_share(0, diameter_mm=0),
        "diameter of a taped hole",
        "from 0.1 to 60 mm is allowed",
        "0.1 mm",
    ),
    "tape on a hole below nothing": (
        lambda: covered_mm(0.5, diameter_mm=-5.5),
        "diameter of a taped hole",
        "from 0.1 to 60 mm is allowed",
        "5.5 mm, without the minus sign",
    ),
    "tape on a hole that is no number": (
        lambda: share_per_mm(0.0, diameter_mm=math.nan),
        "diameter of a taped hole",
        "a number of millimetres is needed",
        None,
    ),
    "a setting's tape of a hand's breadth": (
        lambda: Setting(tape_mm={"E": 80.0}),
        "tape on the E hole",
        "from 0 to 10 mm is allowed",
        "2.032 mm, if that was thousandths of an inch",
    ),
    "a setting's tape in per cent": (
        lambda: Setting(tape_mm={"E": 25.0}),
        "tape on the E hole",
        "from 0 to 10 mm is allowed",
        "1.5 mm, if that was per cent of a hole 6 mm wide",
    ),
    "a setting's tape that is no number": (
        lambda: Setting(tape_mm={"E": math.nan}),
        "tape on the E hole",
        "a number of millimetres is needed, from 0 to 10 mm",
        None,
    ),
    "a seat out of the chanter": (
        lambda: Setting(seat_mm=-24.0),
        "seat",
        "from -10 to 10 mm",
        "-2.4 mm, if the decimal point slipped",
    ),
    "half a pinch": (
        lambda: Setting(pinches=1.5),  # type: ignore[arg-type]
        "pinches",
        "a whole number from 0 to 20 is allowed",
        None,
    ),
    "a pinch taken back": (lambda: Setting(pinches=-1), "pinches", "a whole number from 0 to 20", None),
    "pinches without end": (lambda: Setting(pinches=10**400), "pinches", "a whole number from 0", None),
    "tape on no hole": (lambda: Setting(tape_mm={"low G": 1.0}), "taped hole", "allowed are high A", "low A"),
    "an unknown hole": (lambda: _GOOD.hole("highA"), "hole", "allowed are high A, high G, F", "high A"),
    "notes through no hole": (lambda: notes_through("hi G"), "hole", "allowed are high A, high G", "high G"),
}


@contextmanager
def _at_once(most_s: float = _AT_ONCE_S) -> Iterator[None]:
    start = worked_s()
    yield
    took_s = worked_s() - start
    assert took_s < most_s, f"it took {took_s:.1f} s to say so"


@pytest.mark.parametrize("name", list(REFUSED))
def test_it_is_refused_by_name_with_its_range_and_slip(name: str) -> None:
    act, field, allowed, slip = REFUSED[name]
    with _at_once(), pytest.raises(InputError, match=f"^{re.escape(field)}: .* given; ") as error:
        act()
    assert error.value.field == field
    assert allowed in error.value.allowed
    if slip is not None:
        assert error.value.nearest is not None
        assert slip in error.value.nearest
        assert "Nearest that works: " in str(error.value)


def test_what_was_given_is_said() -> None:
    with pytest.raises(InputError, match=r"diameter of a hole: 0\.25 mm was given"):
        _hole(diameter_mm=0.25)
    with pytest.raises(InputError, match="position of a hole: nan was given"):
        _hole(position_mm=math.nan)
    with pytest.raises(InputError, match="sections: 1000000 was given"):
        _sections(1_000_000)


#: Text, nothing, a complex number, a list, a truth value, NumPy's numbers that wrap round, fractions.
NO_NUMBERS = [
    *("5 mm", None, 5j, [5.0], True, Fraction(5)),
    *(np.uint8(5), np.float16(5), np.bool_(True), np.ones(3)),
]
#: Where a number belongs, by the field that is named.
PLACES: dict[str, Callable[[Any], object]] = {
    "diameter of a hole": lambda given: _hole(diameter_mm=given),
    "length of a section": lambda given: _section(length_mm=given),
    "gap below the staple": lambda given: Seat(diameter_mm=6.0, gap_mm=given),
    "volume of the reed": lambda given: Reed(staple=_section(length_mm=24.0), volume_mm3=given),
    "hole_correction": lambda given: replace(_GOOD, hole_correction=given),
    "sole_correction": lambda given: replace(_GOOD, sole_correction=given),
    "seat": lambda given: Setting(seat_mm=given),
    "tape on the E hole": lambda given: Setting(tape_mm={"E": given}),
    "pinches": lambda given: Setting(pinches=given),
    "tape": lambda given: covered_mm(given, diameter_mm=5.5),
    "diameter of a taped hole": lambda given: covered_share(0.0, diameter_mm=given),
}


@pytest.mark.parametrize("field", list(PLACES))
@pytest.mark.parametrize("given", NO_NUMBERS, ids=lambda given: type(given).__name__)
def test_what_is_no_number_at_all_is_refused(field: str, given: object) -> None:
    """From a file that a hand has written, or an array of too few bits."""
    with _at_once(), pytest.raises(InputError, match=f"^{field}: .* was given; ") as error:
        PLACES[field](given)
    assert re.search("number|share", error.value.allowed)


@pytest.mark.parametrize("given", [5, 5.0, np.float32(5), np.int64(5), np.float64(5)], ids=repr)
def test_control_every_kind_of_number_is_taken_as_it_is(given: float) -> None:
    """Kept as given, and the same bore comes of it."""
    hole = _hole(diameter_mm=given)
    assert hole.diameter_mm is given
    assert hole == _hole(diameter_mm=5.0)
    assert Setting(seat_mm=given, tape_mm={"E": given}, pinches=int(given)).tape_mm["E"] == 5.0
    assert covered_share(given, diameter_mm=given) == 1.0


#: What is not of its kind: the field, and what is needed.
UNKIND: dict[str, tuple[Callable[[Any], object], list[object]]] = {
    "holes": (lambda given: replace(_GOOD, holes=given), [None, list(_GOOD.holes), 8, (5.0,) * 8]),
    "sections": (lambda given: replace(_GOOD, sections=given), [None, [_section()], _section(), (4.0,)]),
    "vents": (lambda given: replace(_GOOD, vents=given), [None, list(_GOOD.vents), (None,)]),
    "seat": (lambda given: replace(_GOOD, seat=given), [None, 6.0, _section()]),
    "name": (lambda given: replace(_GOOD, name=given), [None, 5]),
    "step_masses": (lambda given: replace(_GOOD, step_masses=given), [None, 1, "yes"]),
    "staple": (lambda given: Reed(staple=given, volume_mm3=240.0), [None, 24.0, _hole()]),
    "tape": (lambda given: Setting(tape_mm=given), [None, "E", 1.5, [("E", 1.5)]]),
}


@pytest.mark.parametrize(
    ("field", "index"), [(f, i) for f, (_, bad) in UNKIND.items() for i in range(len(bad))]
)
def test_what_is_not_of_its_kind_is_refused(field: str, index: int) -> None:
    act, bad = UNKIND[field]
    with _at_once(), pytest.raises(InputError, match=rf"^{field}: .* was given; .* needed"):
        act(bad[index])


def test_two_explanations_as_likely_as_each_other_are_both_told() -> None:
    """4 mm in centimetres or 10 mm in inches: either could be a bore."""
    with pytest.raises(InputError, match="mm, if that was inches, or 4 mm, if that was centimetres"):
        _section(top_mm=0.4)


def test_vents_may_lie_on_opposite_sides() -> None:
    assert _GOOD.vents[0].position_mm == _GOOD.vents[1].position_mm
    near = replace(_GOOD.vents[0], position_mm=_GOOD.vents[0].position_mm + 1.0)
    assert len(replace(_GOOD, vents=(_GOOD.vents[0], near)).vents) == 2


def test_control_holes_that_only_touch_are_taken() -> None:
    edge_mm = _GOOD.holes[3].position_mm + _GOOD.holes[3].diameter_mm / 2
    touching = _moved(4, position_mm=edge_mm + _GOOD.holes[4].diameter_mm / 2 + 1e-9)
    assert touching.holes[4].position_mm < 127.0


def test_control_the_good_chanter_is_taken() -> None:
    """As are the least and the most of each."""
    assert invented_chanter() == _GOOD
    assert invented_reed().volume_mm3 > 0
    assert _moved(0, diameter_mm=7.3).holes[0].diameter_mm == 7.3
    assert len(replace(_GOOD, sections=(_section(length_mm=325 / 200, top_mm=20.0),) * 200).sections) == 200
    assert Setting(tape_mm={"E": 10.0}).tape_mm["E"] == 10.0


def test_control_an_error_without_the_range_is_caught() -> None:
    """What the first test would say of an error that says less."""
    with pytest.raises(AssertionError), pytest.raises(InputError, match=r"^diameter of a hole: .* given; "):
        raise UnknownNameError(field="size", given="5", known=["6"])


def test_control_slowness_is_caught() -> None:
    with pytest.raises(AssertionError, match="s to say so"), _at_once(0.0):
        pass
