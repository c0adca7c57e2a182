"""How wide a bench's forecasts have to be, by how they fared: each reed's newest readings foretold.

No model is the world. So every reed's newest readings are foretold from those of at least some days before,
and spreads are multiplied by what makes those readings likeliest: a steady bench's narrower, a wild
one's wider. It is weighed against a prior of 1, and never by a reed's own lesson. Guarded by
`tests/practice/test_breaking_in.py` and `benchmarks/breaking_in/run.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.design import observed
from canebench.reeds.forecasts.history import value_of
from canebench.reeds.forecasts.posterior import at_points, normalised, posterior
from canebench.reeds.forecasts.priors import PRIORS
from canebench.reeds.forecasts.sites import by_gauge, felt

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.design import Observed
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.nodes import Nodes
    from canebench.reeds.forecasts.posterior import Coefficients

#: The newest reading is foretold from those this long before it, as near as may be, and no nearer than this.
_BEFORE, _LEAST = timedelta(days=14), timedelta(days=4)
#: By how much spreads may be multiplied, and how likely each is at first: log-normal about 1.
FACTORS: Final[FloatArray] = np.exp(np.linspace(-1.2, 1.2, 13))
_LOG_SD: Final = 0.7
_FIRST: Final = -0.5 * (np.log(FACTORS) / _LOG_SD) ** 2
_FEW_SWEEPS: Final = 4
#: However many readings of a reed are foretold, they count as no more than this.
_MOST_LESSONS: Final = 4.0


def cut_short(history: ReedHistory, quantity: Quantity) -> tuple[ReedHistory, ReedHistory] | None:
    """A reed without its newest readings of a quantity, as of some two weeks before the last; and these.

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
            readings=tuple(one for one in history.readings if one.at >= until + _LEAST),
            by_mouth=tuple(one for one in history.by_mouth if one.at >= until + _LEAST),
        ),
    )


def _times(history: ReedHistory, quantity: Quantity) -> list[datetime]:
    found = [one.at for one in history.readings if value_of(one, quantity) is not None]
    return sorted(found + ([one.at for one in history.by_mouth] if quantity == "strength" else []))


def lessons(
    cut: Sequence[tuple[ReedHistory, ReedHistory]], quantity: Quantity, before: Coefficients, nodes: Nodes
) -> FloatArray:
    """How likely each reed's newest readings were with spreads multiplied by each of `FACTORS`: logarithms.

    Parameters
    ----------
    cut : sequence of pairs of ReedHistory
        From `cut_short`.
    quantity : str
        Of what.
    before, nodes : Coefficients and Nodes
        What was believed of each of these reeds from the others.

    Returns
    -------
    array (reeds, factors)
        Of each.
    """
    after = posterior(
        observed([early for early, _ in cut], quantity),
        quantity,
        before,
        nodes,
        sweeps=_FEW_SWEEPS,
    )
    weights = normalised(after.log_evidence + after.nodes.log_chances)
    late = observed([newest for _, newest in cut], quantity)
    found = at_points(after, late.at)
    means = np.einsum("rg,rgn->rn", weights, found.mean)
    squares = np.einsum("rgnn->rgn", found.covariance) + (found.mean - means[:, None]) ** 2
    variances = np.einsum("rg,rgn->rn", weights, squares)
    breaths = np.exp(np.einsum("rg,rg->r", weights, np.log(after.nodes.breaths)))
    logs = _log_chances(late, quantity, means[..., None], variances[..., None] * FACTORS**2, breaths)
    told = late.told.sum(axis=1)
    # Readings near one another fail together.
    count = np.minimum(told, _MOST_LESSONS) / np.maximum(told, 1)
    return np.asarray(count[:, None] * np.where(late.told[..., None], logs, 0.0).sum(axis=1))


def _log_chances(
    late: Observed, quantity: Quantity, means: FloatArray, variances: FloatArray, breaths: FloatArray
) -> FloatArray:
    """Of each late reading with spreads multiplied (reeds, readings, factors)."""
    scatter = PRIORS[quantity].breath_sd ** 2 + late.blur**2
    sd = np.sqrt(late.read_sd**2 + breaths[:, None] ** 2 * scatter)[..., None]
    mouth = late.by_mouth[..., None]
    gauge = by_gauge(np.where(mouth, 0.0, late.low[..., None]), sd, means, variances).log_chance
    word = felt(late.low[..., None], late.high[..., None], sd, means, variances).log_chance
    return np.where(mouth, word, gauge)


def factors(taught: FloatArray) -> FloatArray:
    """By what spreads are multiplied, from sums of lessons (reeds, factors): the mean of what is believed."""
    return np.asarray(normalised(taught + _FIRST) @ FACTORS)
