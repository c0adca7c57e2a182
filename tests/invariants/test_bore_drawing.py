"""The bore is drawn to one scale, whatever its shape, and every hole is named once where it is."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree.ElementTree import Element, fromstring

import pytest

from canebench.picture.bore_drawing import UNITS_PER_MM, bore_svg

SVG = "{http://www.w3.org/2000/svg}"
HOLES = [("high A", 66.0), ("high G", 67.0), ("low A", 230.0)]


def outline(root: Element) -> list[tuple[float, float]]:
    path = next(root.iter(f"{SVG}path")).attrib["d"]
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", path)]


@pytest.mark.parametrize("points", [2, 3, 9, 10, 201])
def test_widths_and_lengths_are_to_one_scale(points: int) -> None:
    profile = [(360.0 * i / (points - 1), 4.0 + 18.0 * i / (points - 1)) for i in range(points)]
    root = fromstring(bore_svg(profile, HOLES, title="<a & b>"))  # noqa: S314 - our own
    drawn = outline(root)
    assert len(drawn) == 2 * points
    for (at, width), (x, y), (opposite, _) in zip(profile, drawn, reversed(drawn), strict=False):
        assert abs((x - opposite) - width * UNITS_PER_MM) < 0.03
        assert abs((y - drawn[0][1]) - at * UNITS_PER_MM) < 0.03
    texts = [(one.text, float(one.attrib["y"])) for one in root.iter(f"{SVG}text")]
    assert [text for text, _ in texts if text in dict(HOLES)] == [name for name, _ in HOLES]
    widths = [(text, y) for text, y in texts if text and text.endswith(" mm")]
    assert 2 <= len(widths) <= 9
    assert (widths[0][0], widths[-1][0]) == ("4.0 mm", "22.0 mm")
    # No two letters lie on one another, though two of the holes do.
    for column in (widths, [one for one in texts if one not in widths]):
        assert all(after - before >= 20 for (_, before), (_, after) in pairwise(column))
