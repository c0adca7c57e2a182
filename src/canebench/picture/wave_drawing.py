"""A waveform with the steady parts of its notes marked and named, over a place for its spectrogram.

Guarded by `tests/invariants/test_wave_drawing.py` and `tests/web/test_takes_page.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element, SubElement, tostring

from canebench.picture.elements import draw, layer, write
from canebench.picture.lettering import FONTS, printable

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH: Final = 1_000.0
#: Of the drawing for a telephone's width: letters stay as large as in the wide one.
NARROW: Final = 430.0
_LEFT, _RIGHT = 52.0, 18.0
_WAVE, _GAP, _SPECTRUM, _BASE = 130.0, 14.0, 240.0, 26.0
_ROW, _ROWS, _LETTER = 18.0, 3, 8.5
_SIZE: Final = 13.5
_EVERY_S: Final = (1, 2, 5, 10, 30, 60, 300, 900, 3_600)


def wave_svg(
    extremes: Sequence[tuple[float, float]],
    *,
    duration_s: float,
    parts: Sequence[tuple[str, float, float]],
    title: str,
    spectrogram: tuple[str, float] | None = None,
    width: float = WIDTH,
    id_prefix: str = "wave",
) -> str:
    """Lowest and highest samples along one axis of time, the spectrogram under them on the same.

    `parts` are (name, start, end) in seconds; a name that finds no room stands in the page's table alone.
    `spectrogram` is where that picture is, and the frequency at its top, Hz; 0 is at its foot.
    """
    names, rows = _rows(parts, duration_s, width)
    top = rows * _ROW + 8
    foot = top + _WAVE + (_GAP + _SPECTRUM if spectrogram else 0.0)
    root = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})
    root.set("viewBox", f"0 0 {width:.0f} {foot + _BASE:.0f}")
    root.set("aria-labelledby", f"{id_prefix}-title")
    root.set("font-family", FONTS)
    SubElement(root, "title", {"id": f"{id_prefix}-title"}).text = printable(title)
    scale = _scale(duration_s, width)
    bands = layer(root, fill="band")
    for _, start, end in parts:
        along = max(1.0, (end - start) * scale)
        draw(bands, "rect", x=_LEFT + start * scale, y=top, width=along, height=_WAVE)
    letters = layer(root, fill="ink", font_size=_SIZE, text_anchor="middle")
    for name, middle, row in names:
        write(letters, name, middle, (row + 1) * _ROW - 2)
    _wave(root, extremes, top=top, width=width)
    if spectrogram:
        _spectrogram(root, spectrogram, top=top + _WAVE + _GAP, width=width)
    _seconds(root, duration_s, foot=foot, width=width)
    return tostring(root, encoding="unicode")


def _scale(duration_s: float, width: float) -> float:
    return (width - _LEFT - _RIGHT) / max(duration_s, 1e-3)


def _rows(
    parts: Sequence[tuple[str, float, float]], duration_s: float, width: float
) -> tuple[list[tuple[str, float, int]], int]:
    """Each name over the middle of its part, in the first row where it touches no other."""
    free = [0.0] * _ROWS
    placed = []
    for name, start, end in parts:
        middle = _LEFT + (start + end) / 2 * _scale(duration_s, width)
        half = len(name) * _LETTER / 2
        row = next((row for row in range(_ROWS) if free[row] <= middle - half), None)
        if row is not None:
            placed.append((name, middle, row))
            free[row] = middle + half
    return placed, 1 + max((row for _, _, row in placed), default=0)


def _wave(root: Element, extremes: Sequence[tuple[float, float]], *, top: float, width: float) -> None:
    middle, half = top + _WAVE / 2, _WAVE / 2
    step = (width - _LEFT - _RIGHT) / max(1, len(extremes))
    path = "".join(
        f"M{_LEFT + i * step:.1f} {middle - high * half:.1f}V{middle - low * half + 0.5:.1f}"
        for i, (low, high) in enumerate(extremes)
    )
    draw(layer(root, stroke="line", stroke_width=max(0.6, 1.2 * step)), "path", d=path)


def _spectrogram(root: Element, spectrogram: tuple[str, float], *, top: float, width: float) -> None:
    address, top_hz = spectrogram
    place = {"x": _LEFT, "y": top, "width": width - _LEFT - _RIGHT, "height": _SPECTRUM}
    draw(root, "image", href=address, preserveAspectRatio="none", **place)
    draw(layer(root, stroke="rule"), "rect", **place)
    letters = layer(root, fill="quiet", font_size=_SIZE, text_anchor="end")
    ticks = layer(root, stroke="quiet")
    for khz in range(int(top_hz / 1_000) + 1):
        y = top + _SPECTRUM * (1 - 1_000 * khz / top_hz)
        draw(ticks, "path", d=f"M{_LEFT - 5:.1f} {y:.1f}H{_LEFT:.1f}")
        write(letters, f"{khz} kHz" if khz else "0", _LEFT - 7, y + 4.5)


def _seconds(root: Element, duration_s: float, *, foot: float, width: float) -> None:
    most = int((width - _LEFT - _RIGHT) / 70)
    every = next((one for one in _EVERY_S if duration_s / one <= most), _EVERY_S[-1])
    letters = layer(root, fill="quiet", font_size=_SIZE, text_anchor="middle")
    for second in range(0, int(duration_s) + 1, every):
        write(letters, f"{second} s", _LEFT + second * _scale(duration_s, width), foot + 18)
