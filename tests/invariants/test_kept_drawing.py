"""The drawing of how often ranges held: each number where it belongs, nothing outside, every text escaped."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.picture.kept_drawing import WIDTH, KeptPoint, kept_svg

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_STATED = (10, 20, 30, 40, 50, 60, 70, 80, 90, 95)


def _drawn(points: list[KeptPoint]) -> Element:
    return fromstring(kept_svg(points, title="<b>", description="of 4 & more"))  # noqa: S314 - our own


def _all(root: Element, tag: str) -> list[Element]:
    return [one for one in root.iter() if one.tag.endswith(tag)]


def _points(inside: list[int], of: int) -> list[KeptPoint]:
    return [
        KeptPoint(stated=stated, inside=held, of=of, low=max(0.0, held * 100 / of - 9), high=100.0)
        for stated, held in zip(_STATED, sorted(inside), strict=True)
    ]


@given(
    st.integers(1, 999).flatmap(
        lambda of: st.tuples(st.lists(st.integers(0, of), min_size=10, max_size=10), st.just(of))
    )
)
def test_whatever_held_stands_within_the_picture(told: tuple[list[int], int]) -> None:
    points = _points(*told)
    root = _drawn(points)
    height = float(root.attrib["viewBox"].split()[3])
    circles = _all(root, "}circle")
    assert len(circles) == 10
    for circle in circles:
        assert 5.0 <= float(circle.attrib["cx"]) <= WIDTH - 5.0
        assert 5.0 <= float(circle.attrib["cy"]) <= height - 5.0
    texts = [one.text for one in _all(root, "}text")]
    assert texts.count(f"of {points[0].of} readings") == 1
    for point in points:
        assert f"{point.inside}" in texts
    places = [(float(one.attrib["x"]), float(one.attrib["y"])) for one in _all(root, "}text")]
    assert len(set(places)) == len(places)


def test_what_came_as_often_as_was_said_lies_on_the_diagonal() -> None:
    root = _drawn(_points([10, 20, 30, 40, 50, 60, 70, 80, 90, 95], 100))
    line = next(
        one
        for one in _all(root, "}line")
        if one.attrib["x1"] != one.attrib["x2"] and one.attrib["y1"] != one.attrib["y2"]
    )
    x1, y1, x2, y2 = (float(line.attrib[name]) for name in ("x1", "y1", "x2", "y2"))

    def off(circle: Element) -> float:
        along = (float(circle.attrib["cx"]) - x1) / (x2 - x1)
        return y1 + along * (y2 - y1) - float(circle.attrib["cy"])

    assert [off(one) for one in _all(root, "}circle")] == pytest.approx([0.0] * 10, abs=0.3)
    # The control: of half as often it lies below.
    low = _drawn(_points([5, 10, 15, 20, 25, 30, 35, 40, 45, 47], 100))
    assert all(off(one) < -10.0 for one in _all(low, "}circle"))


def test_of_nothing_there_is_no_mark_and_a_bad_prefix_is_refused() -> None:
    root = _drawn([KeptPoint(stated=80, inside=0, of=0, low=0.0, high=100.0)])
    assert _all(root, "}circle") == []
    with pytest.raises(InputError, match="id prefix"):
        kept_svg([], title="", description="", id_prefix="0 no")


def test_what_was_counted_is_named() -> None:
    points = _points([1] * 10, 30)
    root = fromstring(kept_svg(points, title="a", description="b", of_what="forecasts"))  # noqa: S314 - our own
    texts = [one.text for one in _all(root, "}text")]
    assert "of 30 forecasts" in texts
    assert "of 30 readings" not in texts
