"""What people type: numbers with a point or a comma, and true minus signs; names, however they are spelt.

Guarded by `tests/invariants/test_parsing.py`.
"""

from __future__ import annotations

import math
import re
import unicodedata
from typing import TYPE_CHECKING, Final, TypeVar

from canebench.base.errors import InputError
from canebench.base.sizes import said

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, time

Moment = TypeVar("Moment", "date", "time")
_SPACES: Final = re.compile(r"\s+")
_LEADING_ZEROS: Final = re.compile(r"(?<!\d)0+(?=\d)")


def plain(text: str) -> str:
    """A typed number as Python spells it: a decimal point, the keyboard's minus, no spaces about it."""
    return text.strip().replace(",", ".").replace("\u2212", "-")


def number_from(text: str, field: str, *, or_else: str = "") -> float:
    """The finite number that was typed.

    Parameters
    ----------
    text : str
        As typed: `1.5`, `1,5` and `-3` or its true minus; no unit.
    field : str
        What it is for, in the error's sentence.
    or_else : str
        What else may be typed there, such as "drones".

    Raises
    ------
    InputError
        It is no number, or not a finite one.
    """
    try:
        value = float(plain(text))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        allowed = f"a number is needed, like 1.5{f', or {or_else}' if or_else else ''}"
        raise InputError(field=field, given=repr(text), allowed=allowed)
    return value


def count_from(text: str, field: str) -> int:
    """The whole number that was typed.

    Raises
    ------
    InputError
        It is no number, or not a whole one.
    """
    value = number_from(text, field)
    if not value.is_integer():
        raise InputError(field=field, given=repr(text), allowed="a whole number is needed")
    digits = plain(text).lstrip("+-")
    # Past 2^53 the number with a point no longer tells one whole number from the next.
    return int(plain(text)) if digits.isdecimal() else int(value)


def moment_from(
    read: Callable[[str], Moment], text: str, field: str, *, allowed: str, nearest: str | None = None
) -> Moment:
    """The day or time that was typed, as `read` reads it: `date.fromisoformat` or `time.fromisoformat`.

    Guarded by `tests/doors/test_calendar_command.py` and `tests/doors/test_worth_command.py`.

    Raises
    ------
    InputError
        It is none; `allowed` and `nearest` say what would be.
    """
    try:
        return read(text.strip())
    except ValueError as error:
        raise InputError(field=field, given=said(text), allowed=allowed, nearest=nearest) from error


def check_name(field: str, text: str) -> None:
    """An error where what a reed, a player or a chanter is called is blank, or no text.

    Guarded by `tests/invariants/test_quarantine.py`.
    """
    if not isinstance(text, str) or not text.strip():
        raise InputError(field=field, given=said(text), allowed="a name or number is needed")


def folded(name: str) -> str:
    """What is left of a name without capitals, spaces and leading zeros; equal for names that are one."""
    bare = _SPACES.sub("", unicodedata.normalize("NFKC", name).casefold())
    return _LEADING_ZEROS.sub("", bare)
