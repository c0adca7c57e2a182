"""The drawing of a lot's reeds: bars as long as they were played, all in the picture, a mark for each end."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canebench.picture.lot_drawing import NARROW, WIDTH, ReedBar, lot_svg

if TYPE_CHECKING:
    from collections.abc import Sequence
    from xml.etree.ElementTree import Element

_WAYS = ("open", "settled", "settled, gone", "settled, worn out", "not settled")


def _drawn(bars: Sequence[ReedBar], width: float = WIDTH) -> Element:
    return fromstring(lot_svg(bars, title="<b>", description="a & b", width=width))  # noqa: S314 - our own


def _bar(number: str, minutes: float, until: float | None = None, how: str = "open") -> ReedBar:
    return ReedBar(number=number, minutes=minutes, until_settled_min=until, counts_as=how)


def _all(root: Element, tag: str) -> list[Element]:
    return [one for one in root.iter() if one.tag.endswith(f"}}{tag}")]


def _lengths(root: Element) -> list[float]:
    """Of the bars, which are 7 high; the last is the legend's."""
    found = [one for one in _all(root, "rect") if one.attrib.get("height") == "7"]
    return [float(one.attrib["width"]) for one in found][:-1]


_MINUTES = st.floats(0.0, 90_000.0)


@given(
    st.lists(
        st.tuples(st.text(max_size=30), _MINUTES, st.none() | _MINUTES, st.sampled_from(_WAYS)), max_size=40
    )
)
def test_whatever_was_played_stands_within_the_picture(
    told: list[tuple[str, float, float | None, str]],
) -> None:
    for width in (WIDTH, NARROW):
        root = _drawn([_bar(*one) for one in told], width)
        height = float(root.attrib["viewBox"].split()[3])
        for one in _all(root, "rect")[1:]:
            x, y, wide = (float(one.attrib[name]) for name in ("x", "y", "width"))
            assert 0.0 <= x <= x + wide <= width + 0.2
            assert 0.0 <= y < height
        for one in _all(root, "circle"):
            assert 0.0 < float(one.attrib["cx"]) < width
        assert all(0.0 <= float(one.attrib["x"]) < width for one in _all(root, "text"))


def test_bars_are_as_long_as_they_were_played() -> None:
    root = _drawn([_bar("1", 600.0), _bar("2", 300.0, 60.0, "settled"), _bar("3", 0.0)])
    whole, half, until = _lengths(root)
    assert half == pytest.approx(whole / 2, abs=0.1)
    assert until == pytest.approx(whole / 10, abs=0.1)
    # No reed settled later than it was played.
    assert _lengths(_drawn([_bar("1", 30.0, 45.0)]))[0] == _lengths(_drawn([_bar("1", 30.0, 45.0)]))[1]


@pytest.mark.parametrize(("minutes", "said"), [(40.0, "10 min"), (130.0, "30 min"), (3_000.0, "10 h")])
def test_the_axis_is_in_minutes_or_hours(minutes: float, said: str) -> None:
    texts = [one.text for one in _all(_drawn([_bar("1", minutes)]), "text")]
    assert said in texts


def test_each_way_to_count_has_a_mark_of_its_own() -> None:
    def drawn(how: str) -> str:
        return lot_svg([_bar("1", 10.0, None, how)], title="", description="")

    assert len({drawn(how) for how in _WAYS}) == len(_WAYS)
    # The control: what is not known counts as open, and looks so.
    assert drawn("some day") == drawn("open")
    said = [one.text for one in _all(_drawn([]), "text")]
    assert said[-6:-1] == ["settled", "settled, gone", "settled, worn out", "not settled", "open"]


def test_numbers_keep_apart() -> None:
    root = _drawn([_bar(f"{n}", float(n)) for n in range(40)])
    heights = [float(one.attrib["y"]) for one in _all(root, "text") if (one.text or "").isdigit()][1:]
    assert all(b - a >= 17.0 for a, b in pairwise(heights))
