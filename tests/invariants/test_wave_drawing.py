"""The drawing of a waveform is well formed for any length and any name."""

from __future__ import annotations

from xml.etree.ElementTree import fromstring

import pytest

from canebench.picture.wave_drawing import wave_svg


@pytest.mark.parametrize("duration_s", [0.01, 1.0, 24.0, 900.0, 7_200.0])
def test_any_length(duration_s: float) -> None:
    parts = [("low A <&>", 0.1 * duration_s, 0.3 * duration_s)]
    svg = wave_svg([(-0.5, 0.5)] * 10, duration_s=duration_s, parts=parts, title="<script>")
    root = fromstring(svg)  # noqa: S314 - our own
    texts = [element.text for element in root.iter() if element.tag.endswith("text")]
    assert "low A <&>" in texts
    assert len(texts) <= 14
    assert "<script" not in svg
