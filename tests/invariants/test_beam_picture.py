"""The picture is well-formed, escapes every text, says in words what it draws, and keeps labels apart."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canebench.base.errors import InputError
from canebench.base.notes import NOTES
from canebench.base.scales import published_scales
from canebench.picture.axes import axes_for
from canebench.picture.beam import Beam, BeamPoint, Predicted, beam_svg
from canebench.picture.lettering import rows_apart, spread_out, width_of, wrapped

SVG = "{http://www.w3.org/2000/svg}"
NASTY = "<b onload='x'>&amp; \" reed\x00 7 \ud800 ]]> 漢字"


def a_beam(
    cents: dict[str, float], *, title: str = "Reed 7", scale: str = "harmonic", words: str = "said"
) -> Beam:
    target = published_scales()[scale]
    points = tuple(
        BeamPoint(
            note=note,
            interval_cents=target.cents(note),
            tolerance_cents=5.0,
            cents=cents.get(note),
            sd_cents=1.0 if note in cents else None,
            spread_cents=2.0 if note in cents else None,
            rest_cents=1.0 if note in cents and "low A" in cents and "high A" in cents else None,
        )
        for note in NOTES
    )
    ends = (cents["low A"], cents["high A"]) if "low A" in cents and "high A" in cents else None
    return Beam(
        title=title,
        subtitle="cents, against the drones",
        description=f"All nine. {words}",
        points=points,
        ends=ends,
        words=(("Height", words), ("Next", words)),
    )


NINE = dict.fromkeys(NOTES, 1.5)


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own output


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


@settings(deadline=None, max_examples=60)
@given(st.text(max_size=200), st.dictionaries(st.sampled_from(NOTES), st.floats(-400, 400)))
def test_any_title_and_any_values_give_a_well_formed_picture(title: str, cents: dict[str, float]) -> None:
    root = parsed(beam_svg(a_beam(cents, title=title, words=title)))
    assert root.get("role") == "img"
    labelled = (root.get("aria-labelledby") or "").split()
    assert [
        root.find(f"{SVG}{tag}[@id='{i}']") is not None
        for tag, i in zip(("title", "desc"), labelled, strict=True)
    ]
    assert texts(root).count("–") >= len(NOTES) - len(cents)
    left, top, width, height = (float(v) for v in (root.get("viewBox") or "").split())
    for circle in root.iter(f"{SVG}circle"):
        assert left <= float(circle.get("cx", "nan")) <= width
        assert top <= float(circle.get("cy", "nan")) <= height


def test_every_text_is_escaped() -> None:
    root = parsed(beam_svg(a_beam(NINE, title=NASTY, words=NASTY)))
    assert {element.tag for element in root.iter()} <= {
        SVG + tag for tag in ("svg", "title", "desc", "g", "rect", "path", "line", "circle", "text")
    }
    assert not any("onload" in element.attrib for element in root.iter())
    assert any("<b onload='x'>&amp;" in text for text in texts(root))


def test_control_an_unescaped_title_is_caught() -> None:
    """The same picture with the text put in raw: it must not pass the checks above."""
    raw = beam_svg(a_beam(NINE, title="PLACE")).replace("PLACE", "<b onload='x'>& reed")
    with pytest.raises(ET.ParseError, match="not well-formed"):
        parsed(raw)
    closed = parsed(beam_svg(a_beam(NINE, title="PLACE")).replace("PLACE", "<b onload='x'/>"))
    assert any("onload" in element.attrib for element in closed.iter())


def test_shape_carries_the_meaning() -> None:
    """Two squares, two diamonds, five circles: legible without colour."""
    root = parsed(beam_svg(a_beam(NINE)))
    assert len(list(root.iter(f"{SVG}circle"))) == 5
    assert len(list(root.iter(f"{SVG}rect"))) == 1 + 2  # the sheet, and the two As
    assert len(list(root.iter(f"{SVG}path"))) == 1 + 2  # the tolerance steps, and E and C
    assert {"Height", "Next", *NOTES} <= set(texts(root))


def test_no_style_that_a_strict_content_policy_would_drop() -> None:
    svg = beam_svg(a_beam(NINE), before=a_beam(NINE), predicted=Predicted(label="deeper", ends=(0.0, 1.0)))
    assert "style" not in svg
    assert "script" not in svg


def test_colours_are_replaceable_and_have_a_plain_value_beside() -> None:
    root = parsed(beam_svg(a_beam(NINE)))
    for group in root.iter(f"{SVG}g"):
        for key in ("fill", "stroke"):
            value = group.get(key, "")
            assert re.fullmatch(r"|none|#[0-9a-f]{6}|var\(--beam-[a-z]+, #[0-9a-f]{6}\)", value)
        inner = group.find(f"{SVG}g")
        if inner is not None and "var(" in inner.get("stroke", ""):
            assert group.get("stroke", "") in inner.get("stroke", "")


def test_overlays_are_named() -> None:
    before = a_beam(dict.fromkeys(NOTES, -20.0))
    predicted = Predicted(label="0.5 mm deeper", ends=(1.0, 2.0))
    said = texts(parsed(beam_svg(a_beam(NINE), before=before, predicted=predicted)))
    assert {"before", "now"} <= set(said)
    assert "0.5 mm" in " ".join(said)


def test_id_prefix_keeps_pictures_on_one_page_apart() -> None:
    assert 'id="b2-title"' in beam_svg(a_beam(NINE), id_prefix="b2")
    with pytest.raises(InputError, match="letters, digits and hyphens"):
        beam_svg(a_beam(NINE), id_prefix='x" onload="')


@pytest.mark.parametrize("scale", published_scales())
@pytest.mark.parametrize("value", [1.5, -112.0])
def test_labels_never_touch(scale: str, value: float) -> None:
    root = parsed(beam_svg(a_beam(dict.fromkeys(NOTES, value), scale=scale)))
    rows: dict[str, list[tuple[float, float]]] = {}
    for element in root.iter(f"{SVG}text"):
        if element.text in NOTES:
            x, half = float(element.get("x", "nan")), width_of(element.text, 16.0, bold=True) / 2
            rows.setdefault(element.get("y", ""), []).append((x - half, x + half))
    for row in rows.values():
        assert all(end < start for (_, end), (start, _) in pairwise(sorted(row)))


@given(st.lists(st.floats(0, 700), min_size=1, max_size=9), st.floats(10, 90))
def test_rows_apart_keeps_a_row_apart(centres: list[float], width: float) -> None:
    places = sorted(centres)
    rows = rows_apart(places, [width] * len(places), gap=4.0)
    for row in set(rows):
        here = [x for x, r in zip(places, rows, strict=True) if r == row]
        assert all(b - a >= width + 4.0 - 1e-9 for a, b in pairwise(here))


def test_a_label_keeps_off_the_line_of_one_below() -> None:
    """The second hangs in row 1 at 40; the third would fit row 0 from 41 on, but for that line."""
    assert rows_apart([20.0, 40.0, 58.0], [38.0, 30.0, 34.0], gap=1.5) == [0, 1, 2]
    assert rows_apart([20.0, 40.0, 60.0], [38.0, 30.0, 34.0], gap=1.5) == [0, 1, 0]


@given(st.lists(st.floats(0, 300), min_size=1, max_size=4))
def test_spread_out_keeps_order_and_distance(wanted: list[float]) -> None:
    placed = spread_out(wanted, 20.0)
    assert all(b - a >= 20.0 - 1e-9 for a, b in pairwise(sorted(placed)))


@given(st.text(max_size=300))
def test_wrapped_lines_fit(text: str) -> None:
    lines = wrapped(text, 200.0, 16.0, most=3)
    assert 1 <= len(lines) <= 3
    assert all(width_of(line, 16.0) <= 200.0 for line in lines)


@given(st.lists(st.floats(-1500, 1500), max_size=9))
def test_axes_hold_every_value_and_zero(values: list[float]) -> None:
    axes = axes_for([-231.0, 0.0, 1200.0], values, left=50, right=700, top=40, height=270, side=30)
    assert 0 in axes.ticks()
    assert 2 <= len(axes.ticks()) <= 9
    for value in values:
        assert axes.top <= axes.y(value) <= axes.bottom
