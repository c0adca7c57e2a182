"""Onset from playing pressure, and back: forecasts follow onset; players and most readings tell playing.

Onset is a share of playing that a bench's own readings of both teach. A reed that is only ever read while it
plays is foretold in what it was read in: the share cancels. Guarded by
`tests/practice/test_playing_share.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.base.pressure import PressureUnit, from_kpa, kpa_to_inh2o
from canebench.base.uncertain import number

if TYPE_CHECKING:
    from collections.abc import Iterable

    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.mixture import Foretold

#: Onset over playing: its mean, how far benches lie apart (gauge, arm, what is called onset), and how far
#: reeds of one bench do. Estimates of ours: reeds sound from 5 to 7 kPa and play at 7 to 8 (common practice).
_SHARE, _BENCHES_SD, _REEDS_SD = 0.80, 0.06, 0.06
#: How far one reed's readings of both lie apart.
_READINGS_SD = 0.03
#: Shares outside are slips: a reed does not sound from nothing, nor above where it plays.
_LEAST, _MOST = 0.4, 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OnsetShare:
    """Onset over playing pressure of a reed, its standard uncertainty, and how many readings taught it."""

    mean: float
    sd: float
    readings: int

    def of_reed(self, pairs: Iterable[tuple[float, float]]) -> OnsetShare:
        """Of a reed of that bench which was read at both itself, `pairs` as for `onset_share`."""
        shares = _shares(pairs)
        before, read = self.sd**-2, len(shares) * _READINGS_SD**-2
        mean = (before * self.mean + _READINGS_SD**-2 * math.fsum(shares)) / (before + read)
        return OnsetShare(mean=mean, sd=(before + read) ** -0.5, readings=len(shares))

    def as_playing(self, onset: Foretold) -> Foretold:
        """Playing pressure, kPa, of an onset that is foretold."""
        return type(onset)(**{name: getattr(onset, name) / self.mean for name in onset.__slots__})

    def unsure(self, forecast: ReedForecast) -> ReedForecast:
        """The forecast of a reed that was read at its onset, or never: what it plays at is less sure.

        What this share may be off by is added to each believed onset, so that all that is judged by playing
        pressure is as unsure as that is; of a reed read while it plays the share cancels.
        """
        believed = tuple(
            onset.and_then(0.0, self.sd * onset.mean / self.mean) for onset in forecast.believed["strength"]
        )
        now, *ahead, settled = (onset.foretold() for onset in believed)
        return replace(
            forecast,
            believed={**forecast.believed, "strength": believed},
            now={**forecast.now, "strength": now},
            ahead=tuple({**one, "strength": told} for one, told in zip(forecast.ahead, ahead, strict=True)),
            settled={**forecast.settled, "strength": settled},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidAs:
    """In what a sentence tells an onset: in inches of water as it is, or as what it plays at."""

    unit: str = "inches of water"
    per_kpa: float = kpa_to_inh2o(1.0)
    digits: int = 0

    @classmethod
    def playing(cls, share: OnsetShare, unit: PressureUnit) -> SaidAs:
        """As playing pressure, in a bench's unit."""
        digits = 1 if unit is PressureUnit.KPA else 0
        return cls(unit=str(unit), per_kpa=from_kpa(1.0 / share.mean, unit), digits=digits)

    def __call__(self, onset_kpa: float) -> str:
        """The number, without its unit."""
        return number(onset_kpa * self.per_kpa, self.digits)


def onset_share(pairs: Iterable[tuple[float, float]]) -> OnsetShare:
    """What a bench's readings of both teach of its share.

    Parameters
    ----------
    pairs : iterable of (onset, playing)
        Pressures of one reading, kPa; those whose share is not within 0.4 to 1 are slips, and left out.

    Returns
    -------
    OnsetShare
        Of another reed of that bench: the mean of two normals, one believed before, one read
        (Gelman et al. 2013, eq. 2.12), with what reeds differ.

    Raises
    ------
    InputError
        For a playing pressure that is not above 0.
    """
    shares = _shares(pairs)
    before, read = _BENCHES_SD**-2, len(shares) * _REEDS_SD**-2
    mean = (before * _SHARE + _REEDS_SD**-2 * math.fsum(shares)) / (before + read)
    return OnsetShare(mean=mean, sd=math.hypot(_REEDS_SD, (before + read) ** -0.5), readings=len(shares))


def _shares(pairs: Iterable[tuple[float, float]]) -> list[float]:
    shares = []
    for onset, playing in pairs:
        if not 0.0 < playing < math.inf:
            raise InputError(field="playing pressure", given=f"{playing:g} kPa", allowed="a number above 0")
        if _LEAST <= onset / playing <= _MOST:
            shares.append(onset / playing)
    return shares
