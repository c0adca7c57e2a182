"""A waveform with the steady parts of its notes marked and named.

Guarded by `tests/invariants/test_wave_drawing.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.picture.elements import draw, layer, write
from canebench.picture.lettering import printable

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH: Final = 1_000.0
_TOP, _HEIGHT, _BASE = 26.0, 150.0, 24.0


def wave_svg(
    extremes: Sequence[tuple[float, float]],
    *,
    duration_s: float,
    parts: Sequence[tuple[str, float, float]],
    title: str,
) -> str:
    """Lowest and highest samples along, and `parts` as (name, start, end) in seconds."""
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("viewBox", f"0 0 {WIDTH:.0f} {_TOP + _HEIGHT + _BASE:.0f}")
    root.set("aria-labelledby", "wave-title")
    root.set("font-family", "ui-sans-serif, system-ui, sans-serif")
    SubElement(root, "title", {"id": "wave-title"}).text = printable(title)
    scale = WIDTH / max(duration_s, 1e-3)
    bands = layer(root, fill="band")
    names = layer(root, fill="ink", font_size=15, text_anchor="middle")
    for name, start, end in parts:
        draw(bands, "rect", x=start * scale, y=_TOP, width=max(1.0, (end - start) * scale), height=_HEIGHT)
        write(names, name, (start + end) / 2 * scale, _TOP - 8)
    middle, half = _TOP + _HEIGHT / 2, _HEIGHT / 2
    step = WIDTH / max(1, len(extremes))
    wave = "".join(
        f"M{i * step:.1f} {middle - high * half:.1f}V{middle - low * half + 0.5:.1f}"
        for i, (low, high) in enumerate(extremes)
    )
    draw(layer(root, stroke="line", stroke_width=1.2), "path", d=wave)
    ticks = layer(root, fill="quiet", font_size=13, text_anchor="middle")
    every = next(one for one in (1, 2, 5, 10, 30, 60, 300, 900) if duration_s / one <= 12 or one == 900)
    for second in range(every, int(duration_s) + 1, every):
        write(ticks, f"{second} s", second * scale, _TOP + _HEIGHT + 17)
    return tostring(root, encoding="unicode")
