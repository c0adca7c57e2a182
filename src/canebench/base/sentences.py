"""Pieces that sentences for people are made of.

Guarded by `tests/invariants/test_sentences.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.uncertain import number

if TYPE_CHECKING:
    from collections.abc import Iterable


def listed(names: Iterable[str]) -> str:
    """One name, or several with "and" before the last: "B, C and D"."""
    *before, last = names
    return f"{', '.join(before)} and {last}" if before else last


def capitalized(words: str) -> str:
    """The same words as they stand at the start of a sentence; the rest keeps its letters."""
    return words[0].upper() + words[1:]


def cannot(verb: str, error: OSError) -> str:
    """Why a place or a file "cannot be" read or written, as the system tells it."""
    return f"that cannot be {verb} ({error.strerror or type(error).__name__})"


def seat_said(seat_mm: float) -> str:
    """Where a reed sits, from the firm hand seat, mm; + is deeper."""
    if not seat_mm:
        return "as seated by hand, firm"
    return f"{number(abs(seat_mm), 2)} mm {'deeper' if seat_mm > 0 else 'higher'} than the hand seat"
