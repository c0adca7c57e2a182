"""Pinches, counted for a reed's whole life.

One is normal, two or three the most, more ruin it (common practice, no source). Guarded by
`tests/practice/test_eases.py`.
"""

from __future__ import annotations

from typing import Final

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
