"""Text that a spreadsheet would take for a formula, made harmless in a way that reads back exactly.

The rule, for CSV (all of it) and XLSX (the second half: a cell there says itself that it is text):

- A text that starts with `=`, `+`, `-`, `@`, a tab or a line break (or one of the full-width `＝＋－＠`),
  perhaps after apostrophes, gets one apostrophe more in front.
- A text of nothing but apostrophes gets one more too; so the empty text is `'`, and an empty cell is nothing.
- Reading takes that one apostrophe away again; every other text stands as it is.

Numbers are never touched: a negative one stays a number. Guarded by `tests/store/test_exchange.py`.
"""

from __future__ import annotations

import re
from typing import Final

_RISKY: Final = re.compile(r"'*(?:[=+\-@\t\r\n＝＋－＠]|\Z)")
_BARE: Final = re.compile(r"'*\Z")


def protected(text: str) -> str:
    """A text as a cell of a CSV file holds it."""
    return f"'{text}" if _RISKY.match(text) else text


def unprotected(cell: str) -> str:
    """The text that a cell of a CSV file stands for."""
    return cell[1:] if cell.startswith("'") and _RISKY.match(cell) else cell


def marked(text: str) -> str:
    """A text as a cell of a spreadsheet holds it: only emptiness needs a mark there."""
    return f"'{text}" if _BARE.match(text) else text


def unmarked(cell: str) -> str:
    """The text that a cell of a spreadsheet stands for."""
    return cell[1:] if cell.startswith("'") and _BARE.match(cell) else cell
