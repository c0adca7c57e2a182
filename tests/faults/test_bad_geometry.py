"""Sizes that cannot be: each is one error that names the field, its range and the likely slip, at once."""

from __future__ import annotations

import math
import re
import time
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from canebench.base.errors import InputError, UnknownNameError
from canebench.base.fingering import notes_through, open_holes
from canebench.base.setting import Setting
from canebench.bore.geometry import Chanter, Hole, Reed, Seat, Section
from canebench.bore.tape import covered_mm, covered_share
from support.bores import invented_chanter, invented_reed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_GOOD = invented_chanter()
#: However large the nonsense: no loop over it, no memory for it.
_AT_ONCE_S = 1.0


def _section(*, length_mm: float = 325.0, top_mm: float = 4.0, bottom_mm: float = 20.0) -> Section:
    return Section(length_mm=length_mm, top_mm=top_mm, bottom_mm=bottom_mm)


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
        "361.95 mm, if that was inches",
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
    "a million sections": (lambda: _sections(1_000_000), "sections", "1 to 200 are needed", None),
    "no section": (lambda: _sections(0), "sections", "1 to 200 are needed", None),
    "seven holes": (lambda: replace(_GOOD, holes=_GOOD.holes[1:]), "holes", "exactly 8 are needed", None),
    "nine holes": (
        lambda: replace(_GOOD, holes=(*_GOOD.holes, _GOOD.vents[0])),
        "holes",
        "exactly 8 are needed",
        None,
    ),
    "a million vents": (
        lambda: replace(_GOOD, vents=(_GOOD.vents[0],) * 1_000_000),
        "vents",
        "0 to 6 are needed",
        None,
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
        "from 20 to 2000 mm³",
        None,
    ),
    "no number for a correction": (
        lambda: replace(_GOOD, hole_correction=math.nan),
        "hole_correction",
        "0.6133 (thin) to 0.8216 (in a wall)",
        None,
    ),
    "a correction in millimetres": (
        lambda: replace(_GOOD, sole_correction=6.2),
        "sole_correction",
        "end correction over radius",
        None,
    ),
    "tape wider than the hole": (
        lambda: covered_share(7.0, diameter_mm=5.5),
        "tape",
        "tape covers from 0 mm to the hole's diameter, 5.5 mm",
        None,
    ),
    "less than no tape": (
        lambda: covered_share(-1.0, diameter_mm=5.5),
        "tape",
        "tape covers from 0 mm to the hole's diameter, 5.5 mm",
        None,
    ),
    "tape in per cent": (lambda: covered_mm(30.0, diameter_mm=5.5), "tape", "a share is from 0 to 1", None),
    "a setting's tape of a hand's breadth": (
        lambda: Setting(tape_mm={"E": 80.0}),
        "tape on the E hole",
        "from 0 to 10 mm is allowed",
        None,
    ),
    "a setting's tape that is no number": (
        lambda: Setting(tape_mm={"E": math.nan}),
        "tape on the E hole",
        "from 0 to 10 mm is allowed",
        None,
    ),
    "a seat out of the chanter": (lambda: Setting(seat_mm=-24.0), "seat", "from -10 to 10 mm", None),
    "tape on no hole": (lambda: Setting(tape_mm={"low G": 1.0}), "taped hole", "allowed are high A", "low A"),
    "an unknown hole": (lambda: _GOOD.hole("highA"), "hole", "allowed are high A, high G, F", "high A"),
    "notes through no hole": (lambda: notes_through("hi G"), "hole", "allowed are high A, high G", "high G"),
    "an unknown fingering": (lambda: open_holes("lowA"), "note", "allowed are low G, low A, B", "low A"),
}


@contextmanager
def _at_once(most_s: float = _AT_ONCE_S) -> Iterator[None]:
    start = time.perf_counter()
    yield
    took_s = time.perf_counter() - start
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


@pytest.mark.parametrize("given", ["5 mm", None, 5j, [5.0]])
def test_what_is_no_number_at_all_is_refused(given: object) -> None:
    """Text, nothing, a complex number, a list: from a file that a hand has written."""
    with (
        _at_once(),
        pytest.raises(InputError, match=r"diameter of a hole: .* a number of millimetres is needed"),
    ):
        Hole(position_mm=100.0, diameter_mm=given, wall_mm=5.0)  # type: ignore[arg-type]


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
