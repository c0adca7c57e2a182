"""A reed's strength: from pressures, or by mouth against another reed.

Pressures are kilopascals inside. Guarded by `tests/practice/test_strength.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.uncertain import Uncertain

if TYPE_CHECKING:
    from collections.abc import Mapping

MOMENTS: Final = ("onset", "playing", "dropout", "choke")
#: By mouth, against another reed: how much stronger, kPa, and how sure that is. Estimates of ours, from the
#: 2 inches of water that grades are usually apart.
BY_MOUTH_KPA: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "easier": (-0.6, 0.4),
        "same": (0.0, 0.3),
        "a little stronger": (0.5, 0.4),
        "much stronger": (1.5, 0.8),
    }
)
#: A gauge read once, kPa.
READ_KPA: Final = 0.12
#: A settled reed suits that plays within two inches of water of what its player blows, kPa: the step that
#: grades are usually apart (common practice, no source); never above the ceiling.
SUITS_KPA: Final = 0.5
#: Playing lies so far between onset and choke where it was not read itself: an estimate of ours.
_PLAYING_SHARE: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """One reading: pressures in kPa with their uncertainty, each None where it was not read."""

    onset: Uncertain | None = None
    playing: Uncertain | None = None
    dropout: Uncertain | None = None
    choke: Uncertain | None = None

    def __post_init__(self) -> None:
        if all(getattr(self, moment) is None for moment in MOMENTS):
            raise InputError(field="strength", given="no pressure", allowed=f"one of {', '.join(MOMENTS)}")
        order = [("dropout", "onset"), ("onset", "playing"), ("playing", "choke"), ("onset", "choke")]
        for lower, upper in order:
            low, high = getattr(self, lower), getattr(self, upper)
            if low is not None and high is not None and low.value > high.value + 0.5:
                raise InputError(
                    field=f"{lower} pressure",
                    given=f"{low.value:.2f} kPa",
                    allowed=f"it is not above the {upper} pressure, {high.value:.2f} kPa",
                    nearest="perhaps the two are exchanged",
                )

    @property
    def playing_kpa(self) -> Uncertain | None:
        """What it takes to play: as read, or between onset and choke."""
        if self.playing is not None:
            return _sure(self.playing)
        if self.onset is not None and self.choke is not None:
            onset, choke = self.onset.value, self.choke.value
            width = choke - onset
            return Uncertain(value=onset + _PLAYING_SHARE * width, sd=math.hypot(READ_KPA, width / 6))
        return None


def against(other: Uncertain, words: str) -> Uncertain:
    """Playing pressure told by mouth: `words` of `BY_MOUTH_KPA` against a reed of known strength.

    Parameters
    ----------
    other : Uncertain
        Playing pressure of the reed it was compared with, kPa; an unknown uncertainty counts as none.
    words : str
        How much stronger: a key of `BY_MOUTH_KPA`.

    Returns
    -------
    Uncertain
        Playing pressure, kPa; the two uncertainties add in squares.

    Raises
    ------
    InputError
        Other words. Common practice, no source. Guarded by `tests/practice/test_strength.py`.
    """
    if words not in BY_MOUTH_KPA:
        raise InputError(
            field="strength by mouth", given=repr(words), allowed=f"one of {', '.join(BY_MOUTH_KPA)}"
        )
    more, sd = BY_MOUTH_KPA[words]
    return Uncertain(value=other.value + more, sd=math.hypot(sd, other.sd or 0.0))


def _sure(value: Uncertain) -> Uncertain:
    return value if value.sd is not None else Uncertain(value=value.value, sd=READ_KPA)
