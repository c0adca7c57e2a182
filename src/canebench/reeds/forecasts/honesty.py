"""How wide forecasts have to be on this bench, by how they fared before: each reed's newest reading foretold.

No model is the world. So every reed's newest reading is foretold from its readings of at least some days
before, and spreads are multiplied by what makes those readings likeliest: a steady bench's narrower, a wild
one's wider. It is weighed against a prior of 1, and never by a reed's own lesson. Guarded by
`tests/practice/test_breaking_in.py` and `benchmarks/breaking_in/run.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.design import Observed, Points, observed
from canebench.reeds.forecasts.history import value_of
from canebench.reeds.forecasts.posterior import at_points, normalised, posterior
from canebench.reeds.forecasts.priors import PRIORS
from canebench.reeds.forecasts.sites import by_gauge, felt

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.pooling import Beforehand

#: The newest reading is foretold from those this long before it, as near as may be, and no nearer than this.
_BEFORE, _LEAST = timedelta(days=14), timedelta(days=4)
#: By how much spreads may be multiplied, and how likely each is at first: log-normal about 1.
FACTORS: Final[FloatArray] = np.exp(np.linspace(-1.2, 1.2, 13))
_LOG_SD: Final = 0.5
_FIRST: Final = -0.5 * (np.log(FACTORS) / _LOG_SD) ** 2
_FEW_SWEEPS: Final = 4


def cut_short(history: ReedHistory, quantity: Quantity) -> tuple[ReedHistory, ReedHistory] | None:
    """A reed without its newest reading of a quantity and what came within days before; and that reading.

    None where nothing would be left, and where it was handled in between, which no forecast foretells.
    """
    times = _times(history, quantity)
    if not times:
        return None
    touched = max((one.at for one in history.handled if one.at < times[-1]), default=times[0])
    early = [one for one in times if times[-1] - one >= _LEAST and one >= touched]
    if not early:
        return None
    until = min(early, key=lambda one: abs(times[-1] - one - _BEFORE))
    return (
        replace(
            history,
            readings=tuple(one for one in history.readings if one.at <= until),
            by_mouth=tuple(one for one in history.by_mouth if one.at <= until),
        ),
        replace(
            history,
            readings=tuple(one for one in history.readings if one.at == times[-1]),
            by_mouth=tuple(one for one in history.by_mouth if one.at == times[-1]),
        ),
    )


def _times(history: ReedHistory, quantity: Quantity) -> list[datetime]:
    found = [one.at for one in history.readings if value_of(one, quantity) is not None]
    return sorted(found + ([one.at for one in history.by_mouth] if quantity == "strength" else []))


def lessons(
    cut: Sequence[tuple[ReedHistory, ReedHistory]], quantity: Quantity, before: Beforehand
) -> FloatArray:
    """How likely each reed's newest reading was with spreads multiplied by each of `FACTORS`: logarithms.

    Parameters
    ----------
    cut : sequence of pairs of ReedHistory
        From `cut_short`.
    quantity : str
        Of what.
    before : Beforehand
        What was believed of each of these reeds from the others.

    Returns
    -------
    array (reeds, factors)
        Of each.
    """
    after = posterior(
        observed([early for early, _ in cut], quantity),
        quantity,
        before.coefficients,
        before.nodes,
        sweeps=_FEW_SWEEPS,
    )
    weights = normalised(after.log_evidence + after.nodes.log_chances)
    late = observed([newest for _, newest in cut], quantity)
    found = at_points(after, _newest(late))
    means = np.einsum("rg,rg->r", weights, found.mean[..., 0])
    squares = found.covariance[..., 0, 0] + (found.mean[..., 0] - means[:, None]) ** 2
    variances = np.einsum("rg,rg->r", weights, squares)
    breaths = np.exp(np.einsum("rg,rg->r", weights, np.log(after.nodes.breaths)))
    return _log_chances(late, quantity, means, variances[:, None] * FACTORS**2, breaths)


def _newest(late: Observed) -> Points:
    """Where the first of each reed's readings was."""
    at = late.at
    return Points(
        minutes=at.minutes[:, :1],
        days=at.days[:, :1],
        pinches=at.pinches[:, :1],
        settings=at.settings[:, :1],
        covariates=at.covariates[:, :1],
    )


def _log_chances(
    late: Observed, quantity: Quantity, means: FloatArray, variances: FloatArray, breaths: FloatArray
) -> FloatArray:
    scatter = PRIORS[quantity].breath_sd ** 2 + late.blur[:, 0] ** 2
    sd = np.sqrt(late.read_sd[:, 0] ** 2 + breaths**2 * scatter)[:, None]
    mouth = late.by_mouth[:, :1]
    gauge = by_gauge(np.where(mouth, 0.0, late.low[:, :1]), sd, means[:, None], variances).log_chance
    word = felt(late.low[:, :1], late.high[:, :1], sd, means[:, None], variances).log_chance
    return np.where(mouth, word, gauge)


def factor(taught: FloatArray) -> float:
    """By what spreads are multiplied, from the sum of lessons (factors,): the mean of what is believed."""
    return float(normalised(taught + _FIRST) @ FACTORS)
