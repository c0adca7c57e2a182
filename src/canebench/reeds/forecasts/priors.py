"""What is believed of a reed that nobody has played yet: of every quantity, its seven coefficients.

A reading is settled + to_go exp(-minutes / tau) + creep log(1 + minutes / 40) + pinch * pinches
+ dry * dryness + warm * (room - 20 °C)/10 + damp * (RH - 60 %)/20, then what no such line follows (stray,
weather, each handling), then the breath.
Each coefficient of a reed is a mean plus what this bench, the lot, the cut, the chanter and the reed itself
add. Sources stand in `docs/theory/breaking-in.md`; what has none is an estimate of ours. Guarded by
`tests/practice/test_breaking_in.py` and `benchmarks/breaking_in/run.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.history import Quantity

COEFFICIENTS: Final = ("settled", "to_go", "creep", "pinch", "dry", "warm", "damp")
SETTLED, TO_GO, CREEP, PINCH, DRY, WARM, DAMP = range(len(COEFFICIENTS))
#: Whose part of a coefficient it is.
SHARES: Final = ("bench", "lot", "cut", "chanter", "reed")

#: Minutes in which what is to go falls to a third: nodes, and how likely each is at first (log-normal about
#: 80 min, five sessions of a quarter of an hour, within a factor of 2.2).
TAU_MIN: Final[FloatArray] = np.array([15.0, 30.0, 60.0, 120.0, 240.0, 480.0])
_TAU_MEDIAN_MIN, _TAU_LOG_SD = 80.0, 0.8
#: How many times what is usual a reed strays from its line, and a breath from the next: median of a
#: log-normal, and its spread over benches and from reed to reed of one bench.
STRAY: Final = (0.6, 0.6, 0.6)
BREATH: Final = (1.0, 0.5, 0.25)
#: Beyond how many minutes a reed's creep goes by the logarithm of minutes.
CREEP_FROM_MIN: Final = 40.0
#: How long the weather of a reed lasts, days.
WEATHER_DAYS: Final = 10.0
#: One reading in so many is a slip, and how much further it strays than the rest.
SLIP_SHARE, SLIP_FACTOR = 0.06, 6.0
#: A judgement by mouth: how much it scatters, kPa, and how often it is simply wrong.
MOUTH_SD_KPA, MOUTH_SLIP = 0.35, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityPrior:
    """Of one quantity, in its unit.

    Attributes
    ----------
    mean : array (7,)
        Of each of `COEFFICIENTS`.
    sd : array (5, 7)
        What each of `SHARES` adds to it.
    read_sd : float
        Of a reading that tells none itself.
    breath_sd : float
        From one reading to the next of the same reed, beside what the reading tells.
    stray_sd : float
        What no line follows, for a unit of the logarithm of minutes.
    wear_sd : float
        What no line follows, for a hundred minutes, however old it is.
    weather_sd : float
        What comes and goes within days.
    set_sd : float
        A reed that is set anew.
    pinch_scatter_sd : float
        One pinch against the next of the same reed.
    """

    mean: FloatArray
    sd: FloatArray
    read_sd: float
    breath_sd: float
    stray_sd: float
    wear_sd: float
    weather_sd: float
    set_sd: float
    pinch_scatter_sd: float

    def covariance(self) -> FloatArray:
        """Of a reed of which nothing is known (7, 7)."""
        return np.diag(np.sum(self.sd**2, axis=0))


PRIORS: Final[Mapping[Quantity, QuantityPrior]] = MappingProxyType(
    {
        "strength": QuantityPrior(
            #              settled to_go  creep  pinch   dry   warm   damp
            mean=np.array([6.1, 0.7, -0.20, -0.45, 0.25, -0.05, -0.10]),
            sd=np.array(
                [
                    [0.80, 0.30, 0.30, 0.15, 0.20, 0.10, 0.10],
                    [0.50, 0.25, 0.10, 0.10, 0.05, 0.03, 0.03],
                    [0.40, 0.20, 0.05, 0.10, 0.05, 0.03, 0.03],
                    [0.20, 0.05, 0.02, 0.02, 0.02, 0.02, 0.02],
                    [0.60, 0.30, 0.06, 0.12, 0.15, 0.05, 0.05],
                ]
            ),
            read_sd=0.12,
            breath_sd=0.15,
            stray_sd=0.08,
            wear_sd=0.40,
            weather_sd=0.08,
            set_sd=0.10,
            pinch_scatter_sd=0.22,
        ),
        "low_a": QuantityPrior(
            mean=np.array([0.0, -5.0, 0.0, 5.0, 2.0, 17.0, -1.0]),
            sd=np.array(
                [
                    [40.0, 5.0, 2.5, 3.0, 3.0, 5.0, 2.0],
                    [8.0, 3.0, 0.8, 1.5, 1.0, 1.0, 0.5],
                    [6.0, 2.0, 0.5, 1.5, 1.0, 1.0, 0.5],
                    [12.0, 1.0, 0.3, 0.5, 0.5, 1.0, 0.5],
                    [10.0, 4.0, 0.5, 2.5, 2.0, 2.0, 1.0],
                ]
            ),
            read_sd=1.0,
            breath_sd=2.0,
            stray_sd=1.0,
            wear_sd=2.2,
            weather_sd=0.7,
            set_sd=10.0,
            pinch_scatter_sd=2.0,
        ),
        "tilt": QuantityPrior(
            mean=np.array([0.0, -5.0, 0.0, 6.0, 1.0, 0.0, 0.0]),
            sd=np.array(
                [
                    [15.0, 5.0, 2.5, 4.0, 2.0, 5.0, 2.0],
                    [8.0, 3.0, 0.8, 2.0, 1.0, 1.0, 0.5],
                    [5.0, 2.0, 0.5, 2.0, 1.0, 1.0, 0.5],
                    [8.0, 1.0, 0.3, 0.5, 0.5, 1.0, 0.5],
                    [10.0, 4.0, 0.5, 2.5, 1.0, 2.0, 1.0],
                ]
            ),
            read_sd=1.0,
            breath_sd=2.0,
            stray_sd=1.0,
            wear_sd=2.2,
            weather_sd=0.7,
            set_sd=12.0,
            pinch_scatter_sd=2.5,
        ),
    }
)


def first_chances() -> FloatArray:
    """How likely each of `TAU_MIN` is before any reed was read."""
    weights = np.exp(-0.5 * (np.log(TAU_MIN / _TAU_MEDIAN_MIN) / _TAU_LOG_SD) ** 2)
    return np.asarray(weights / weights.sum())
