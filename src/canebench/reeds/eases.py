"""Pinches, counted for a reed's whole life; and what a reading before the last of them is still worth.

One is normal, two or three the most, more ruin it (common practice, no source). Guarded by
`tests/practice/test_eases.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from canebench.base.errors import UnlessInsistedError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

NORMAL: Final = 1
MOST: Final = 3


def left(pinches: int) -> int:
    """How many pinches may still be recommended.

    Parameters
    ----------
    pinches : int >= 0
        Pinches in the reed's whole life.

    Returns
    -------
    int
        0 to 3.
    """
    return max(0, MOST - pinches)


def left_said(pinches: int) -> str:
    """How many pinches are left of those in a life, in a few words.

    Parameters
    ----------
    pinches : int >= 0
        Pinches in the reed's whole life.

    Returns
    -------
    str
        "2 of 3 pinches left"; past the most, by how many.
    """
    if pinches > MOST:
        return f"pinched {pinches} times, {pinches - MOST} past the most"
    return f"{left(pinches) or 'none'} of {MOST} pinches left"


def check_pinch(pinches: int, *, insisted: bool) -> None:
    """Refuse a pinch past the most in a life, unless one insists.

    Parameters
    ----------
    pinches : int >= 0
        Pinches in the reed's whole life so far.
    insisted : bool
        Whether it was said that it shall be so all the same.

    Raises
    ------
    UnlessInsistedError
        None is left, and nobody insists. Common practice, no source. Guarded by
        `tests/practice/test_eases.py`.
    """
    if left(pinches) == 0 and not insisted:
        raise UnlessInsistedError(
            field="pinch",
            given=f"number {pinches + 1}",
            allowed=f"a reed bears {MOST} in its life, more ruin it",
            nearest="leave it as strong as it is, or another reed; or say that you insist",
        )


def before_ease(read: datetime, eases: Iterable[tuple[datetime, str]]) -> str | None:
    """Whether a reed was eased after it was read, so that the reading tells of another reed, in a way.

    Parameters
    ----------
    read : datetime
        When it was read.
    eases : pairs of datetime and str
        When and how it was eased: "pinch" or another way.

    Returns
    -------
    str or None
        "before the pinch", or "before it was eased" where that was done another way; None where the reading
        still holds. Guarded by `tests/practice/test_eases.py`.
    """
    since = [how for at, how in eases if at > read]
    if not since:
        return None
    return "before the pinch" if "pinch" in since else "before it was eased"


def said(pinches: int) -> str:
    """What to say of a reed that has been pinched so often.

    Parameters
    ----------
    pinches : int >= 0
        Pinches in the reed's whole life.

    Returns
    -------
    str
        One sentence or two; from the most that are recommended on, it advises against more.
    """
    if pinches == 0:
        return "Never pinched."
    if pinches == NORMAL:
        return "Pinched once; that is normal."
    if pinches < MOST:
        return f"Pinched {pinches} times; {MOST} are the most in a reed's life."
    if pinches == MOST:
        return f"Pinched {pinches} times: that is the most. No further pinch is recommended."
    return f"Pinched {pinches} times, more than a reed bears: watch it, and have another ready."
