"""Words in a picture: how wide they are, where they break, and how labels keep out of each other's way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

#: The reader's own, without serifs.
FONTS: Final = "ui-sans-serif, system-ui, sans-serif"
#: Mean advance of a character in ems. Wide for most sans-serif faces, so that words fit in any of them.
_EM_PER_CHARACTER = 0.58
_BOLD = 1.08


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Estimated width of `text` in the picture's units."""
    return len(text) * size * _EM_PER_CHARACTER * (_BOLD if bold else 1.0)


def printable(text: str) -> str:
    """The text without characters that XML cannot hold, white space drawn together."""
    kept = (c if c.isprintable() and not 0xD800 <= ord(c) <= 0xDFFF else " " for c in text)
    return " ".join("".join(kept).split())


def wrapped(text: str, width: float, size: float, *, bold: bool = False, most: int = 6) -> list[str]:
    """Lines of `text` no wider than `width`; a long word is cut, and what passes `most` lines ends in "…"."""
    room = max(4, int(width / width_of("x", size, bold=bold)))
    lines: list[str] = []
    line = ""
    for word in text.split():
        for piece in (word[i : i + room] for i in range(0, len(word), room)):
            if line and len(line) + 1 + len(piece) > room:
                lines.append(line)
                line = ""
            line = f"{line} {piece}" if line else piece
    lines.append(line)
    if len(lines) > most:
        return [*lines[: most - 1], lines[most - 1][: room - 2] + " …"]
    return lines


def rows_apart(centres: Sequence[float], widths: Sequence[float], *, gap: float) -> list[int]:
    """The row (0 at the top) of each label, left to right, so that none touches its neighbour.

    A label in a lower row hangs on a line that comes down at its centre: a label above keeps off that too.
    """
    ends: list[float] = []
    lines: list[float] = []
    rows: list[int] = []
    for centre, width in zip(centres, widths, strict=True):
        left = centre - width / 2
        free = (i for i, end in enumerate(ends) if left >= max([end, *lines[i + 1 :]]) + gap)
        row = next(free, len(ends))
        if row == len(ends):
            ends.append(0.0)
            lines.append(0.0)
        ends[row], lines[row] = centre + width / 2, centre
        rows.append(row)
    return rows


def spread_out(wanted: Sequence[float], distance: float) -> list[float]:
    """Heights near the `wanted` ones, in their order, at least `distance` apart."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = [0.0] * len(wanted)
    last = float("-inf")
    for i in order:
        last = max(wanted[i], last + distance)
        placed[i] = last
    return placed
