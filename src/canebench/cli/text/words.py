"""Plain text: aligned tables, wrapped paragraphs, and an output that fits the terminal it goes to."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_WIDEST: Final = 100
_NARROWEST: Final = 40
#: What stands in for a character that the output's encoding does not have.
_PLAIN: Final = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "±": "+/-",
        "·": ",",
        "…": "...",
        "°": " deg ",
        "≤": "<=",
        "“": '"',
        "”": '"',
        "½": ".5",
    }
)


def show(text: str, *, err: bool = False) -> None:
    """Write `text` as it stands; characters that the output cannot show are replaced, never a failure."""
    stream = sys.stderr if err else sys.stdout
    click.echo(fitting(text, getattr(stream, "encoding", None) or "ascii"), err=err, nl=False)


def fitting(text: str, encoding: str) -> str:
    """`text` in characters that `encoding` has."""
    if can_show(text, encoding):
        return text
    plain = text.translate(_PLAIN)
    return plain.encode(encoding, errors="replace").decode(encoding)


def can_show(text: str, encoding: str) -> bool:
    """Whether `encoding` has every character of `text`."""
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def width() -> int:
    """Columns to fill: the terminal's (or COLUMNS), within what is readable."""
    return max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size((80, 24)).columns))


def strong(text: str) -> str:
    """Bold on a terminal that wants it (the NO_COLOR custom), else as it is."""
    plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    return text if plain or not sys.stdout.isatty() else click.style(text, bold=True)


def table(headers: Sequence[str], rows: Iterable[Sequence[str]], *, columns: int, words: bool = False) -> str:
    """An aligned table, names left and numbers right; the last columns give way where it gets narrow.

    With `words` all columns are words, and stand left.
    """
    lines = [list(headers), *(list(row) for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(headers))]
    shown = len(widths)
    while shown > 2 and sum(widths[:shown]) + 2 * (shown - 1) > columns:
        shown -= 1
    return "".join(_line(line[:shown], widths, words=words) for line in lines)


def _line(cells: Sequence[str], widths: Sequence[int], *, words: bool) -> str:
    placed = [
        cell.rjust(width) if i and not words else cell.ljust(width)
        for i, (cell, width) in enumerate(zip(cells, widths, strict=False))
    ]
    return "  ".join(placed).rstrip() + "\n"


def paragraph(text: str, *, columns: int) -> str:
    """Wrapped text."""
    return "\n".join(textwrap.wrap(text, columns)) + "\n"


def labelled(label: str, text: str, *, columns: int, indent: int = 8) -> str:
    """A bold label and its paragraph, wrapped beside it."""
    lines = textwrap.wrap(text, max(20, columns - indent)) or [""]
    first = strong(label) + " " * max(1, indent - len(label)) + lines[0]
    return "\n".join([first, *(" " * indent + line for line in lines[1:])]) + "\n"
