"""The drawing of the tape is to scale, says in words what it shows, and escapes every name."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.base.fingering import HOLES
from canebench.bore.chanter_file import generic
from canebench.bore.tape import covered_share
from canebench.picture.lettering import width_of
from canebench.picture.tape_drawing import UNITS_PER_MM, WIDTH, TapedHole, described, segment_path, tape_svg

SVG = "{http://www.w3.org/2000/svg}"
NASTY = "<b onload='x'>&amp; \" reed\x00 7 \ud800 ]]> 漢字"


def some_holes(**tape_mm: float) -> list[TapedHole]:
    return [
        TapedHole(
            name=name,
            position_mm=hole.position_mm,
            diameter_mm=hole.diameter_mm,
            covered_mm=tape_mm.get(name.replace(" ", "_"), 0.0),
            at_back=name == HOLES[0],
        )
        for name, hole in zip(HOLES, generic().chanter.holes, strict=True)
    ]


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own output


def segment_area(path: str) -> float:
    """Area that a path of a circle's arc and its chord encloses, by Green's theorem over short steps."""
    found = re.fullmatch(r"M(\S+) (\S+)A(\S+) \S+ 0 ([01]) 1 (\S+) (\S+?)z", path)
    assert found is not None
    x1, y1, radius, large, x2, _ = (float(one) for one in found.groups())
    half = min(1.0, (x2 - x1) / 2 / radius)
    angle = 2 * math.asin(half)
    if large:
        angle = 2 * math.pi - angle
    centre_x, centre_y = (x1 + x2) / 2, y1 + radius * math.cos(angle / 2)
    steps = [-math.pi / 2 - angle / 2 + angle * i / 2000 for i in range(2001)]
    points = [(centre_x + radius * math.cos(a), centre_y + radius * math.sin(a)) for a in steps]
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise([*points, points[0]]))) / 2


@given(diameter_mm=st.floats(3, 12), share=st.floats(0.05, 0.95))
def test_the_hatched_segment_has_the_share_of_the_hole_that_the_model_computes(
    diameter_mm: float, share: float
) -> None:
    radius = diameter_mm / 2 * UNITS_PER_MM
    reach = share * diameter_mm * UNITS_PER_MM
    drawn = segment_area(segment_path(44.0, 100.0, radius=radius, reach=reach)) / (math.pi * radius**2)
    assert drawn == pytest.approx(covered_share(share * diameter_mm, diameter_mm=diameter_mm), abs=0.01)


def test_control_a_segment_measured_from_the_centre_is_noticed() -> None:
    radius = 3.6 * UNITS_PER_MM
    wrong = segment_area(segment_path(44.0, 100.0, radius=radius, reach=radius + 1.5 * UNITS_PER_MM))
    assert abs(wrong / (math.pi * radius**2) - covered_share(1.5, diameter_mm=7.2)) > 0.3


def test_holes_are_to_scale_in_place_and_width() -> None:
    holes = some_holes()
    root = parsed(tape_svg(holes, title="Tape"))
    rings = list(root.iter(f"{SVG}circle"))[::2]
    assert len(rings) == 8
    for (a, b), (one, two) in zip(pairwise(rings), pairwise(holes), strict=True):
        apart = float(b.get("cy", "")) - float(a.get("cy", ""))
        assert apart == pytest.approx((two.position_mm - one.position_mm) * UNITS_PER_MM, abs=0.11)
    for ring, hole in zip(rings, holes, strict=True):
        assert float(ring.get("r", "")) == pytest.approx(hole.diameter_mm / 2 * UNITS_PER_MM, abs=0.051)


@given(diameter_mm=st.floats(3, 12), share=st.floats(0.02, 1.3))
def test_hatching_stays_within_the_segment(diameter_mm: float, share: float) -> None:
    hole = TapedHole(name="E", position_mm=100, diameter_mm=diameter_mm, covered_mm=share * diameter_mm)
    root = parsed(tape_svg([hole], title="Tape"))
    ring = next(root.iter(f"{SVG}circle"))
    cx, cy, radius = (float(ring.get(name, "")) for name in ("cx", "cy", "r"))
    lowest = cy - radius + min(share, 1.0) * 2 * radius
    (segment,) = (one for one in root.iter(f"{SVG}path") if one.get("class") == "tape")
    assert segment is not None
    for line in root.iter(f"{SVG}line"):
        x1, y1, x2, y2 = (float(line.get(name, "")) for name in ("x1", "y1", "x2", "y2"))
        # Hatching alone slants at 45 degrees.
        if x1 < x2 and y1 - y2 == pytest.approx(x2 - x1, abs=0.21) and x2 < cx + radius + 1:
            for x, y in ((x1, y1), (x2, y2)):
                assert math.hypot(x - cx, y - cy) <= radius + 0.2
                assert y <= lowest + 0.2


def test_words_say_what_is_drawn_and_names_are_escaped() -> None:
    holes = some_holes(E=1.5, high_A=0.75)
    root = parsed(tape_svg(holes, title=NASTY, id_prefix="t2"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "t2-title t2-desc"
    assert "onload='x'" in (root.findtext(f"{SVG}title") or "")
    said = root.findtext(f"{SVG}desc") or ""
    assert said == described(holes)
    assert "high A at the back, tape 0.75 mm down from the upper edge" in said
    assert "E, tape 1.5 mm down" in said
    assert said.count("bare") == 6
    shown = ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    assert "high A0.75 mm" in shown
    assert "at the back" in shown
    assert "E1.5 mm" in shown
    assert all("style" not in element.attrib for element in root.iter())


def test_labels_keep_apart_where_holes_are_close() -> None:
    holes = [TapedHole(name=f"h{i}", position_mm=50 + i, diameter_mm=3) for i in range(8)]
    root = parsed(tape_svg(holes, title="Tape"))
    places = [float(text.get("y", "")) for text in root.iter(f"{SVG}text")]
    assert all(b - a >= 15.2 for a, b in pairwise(places))


@pytest.mark.parametrize("bad", [{"diameter_mm": 0.0}, {"covered_mm": -1.0}, {"position_mm": math.nan}])
def test_sizes_that_cannot_be_drawn_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(InputError, match="can be drawn"):
        TapedHole(**{"name": "E", "position_mm": 100.0, "diameter_mm": 7.0, **bad})  # type: ignore[arg-type]


def test_no_holes_and_a_bad_prefix_are_refused() -> None:
    with pytest.raises(InputError, match="at least one"):
        tape_svg([], title="Tape")
    with pytest.raises(InputError, match="id prefix"):
        tape_svg(some_holes(), title="Tape", id_prefix="a b")


def _right_ends(svg: str) -> dict[str, float]:
    """Where each word of a drawing ends at the widest, by its words."""
    found = {}
    for group in parsed(svg).iter(f"{SVG}g"):
        for text in group.findall(f"{SVG}text"):
            size = float(group.get("font-size", "14"))
            words = "".join(text.itertext())
            found[words] = float(text.get("x", "0")) + width_of(words, size, bold=True) + 6.0
    return found


def test_no_words_are_cut_off_at_the_right() -> None:
    holes = [replace(hole, covered_mm=1.75, planned_mm=2.25) for hole in some_holes()]
    ends = _right_ends(tape_svg(holes, title="t"))
    assert any("high G" in words for words in ends)
    assert any("2.25 mm planned" in words for words in ends)
    assert {words: end for words, end in ends.items() if end > WIDTH} == {}


def test_words_cut_off_are_noticed() -> None:
    """Control: 1.75 mm beside high G did not fit in 196."""
    holes = [replace(hole, covered_mm=1.75) for hole in some_holes()]
    assert max(_right_ends(tape_svg(holes, title="t")).values()) > 196.0


def test_what_is_there_is_drawn_and_what_is_planned_is_dotted() -> None:
    holes = some_holes(D=1.0, C=2.0)
    changed = [replace(hole, planned_mm={"D": 1.0, "C": 0.0, "E": 1.5}.get(hole.name)) for hole in holes]
    svg = tape_svg(changed, title="t")
    # As it is: two strips. As planned: one more; one that comes off has no edge to draw.
    assert svg.count('class="tape"') == 2
    assert svg.count('class="planned"') == 1
    said = described(changed)
    assert "E, bare now, 1.5 mm planned" in said
    assert "C, tape 2.0 mm down from the upper edge now, to come off" in said
    assert "D, tape 1.0 mm down from the upper edge;" in said
    assert "planned" not in tape_svg(holes, title="t")
