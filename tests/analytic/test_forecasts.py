"""The forecasts where the answer is known in closed form."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from canebench.reeds.forecasts import priors, sites
from canebench.reeds.forecasts.design import moment_of, observed, points_of
from canebench.reeds.forecasts.learning.pooling import beforehand, nobody
from canebench.reeds.forecasts.mixture import Weighted
from canebench.reeds.forecasts.posterior import at_points, posterior
from canebench.reeds.forecasts.priors import PRIORS
from support.lived_reeds import lived_reed

if TYPE_CHECKING:
    from canebench.reeds.forecasts.design import Observed
    from canebench.reeds.forecasts.history import Quantity


def test_the_normal_distribution_is_the_textbooks() -> None:
    x = np.linspace(-7.0, 7.0, 2801)
    assert sites.normal_below(x) == pytest.approx(norm.cdf(x), abs=1.5e-7)


@pytest.mark.parametrize(("value", "mean", "variance"), [(0.3, 0.1, 0.2), (5.0, 0.0, 0.5), (-2.0, 1.0, 0.1)])
def test_a_gauge_that_may_slip_is_integrated_over(value: float, mean: float, variance: float) -> None:
    """Its chance is the integral over the belief, slope and bend its derivatives."""
    sd = 0.4

    def chance(m: float) -> float:
        def inside(x: float) -> float:
            good = (1.0 - priors.SLIP_SHARE) * norm.pdf(value, x, sd)
            bad = priors.SLIP_SHARE * norm.pdf(value, x, priors.SLIP_FACTOR * sd)
            return float((good + bad) * norm.pdf(x, m, math.sqrt(variance)))

        return float(quad(inside, m - 12.0, m + 12.0, points=[m, value], limit=400)[0])

    told = sites.by_gauge(np.array([value]), np.array([sd]), np.array([mean]), np.array([variance]))
    assert told.log_chance[0] == pytest.approx(math.log(chance(mean)), abs=1e-6)
    step = 1e-3
    logs = [math.log(chance(mean + k * step)) for k in (-1, 0, 1)]
    assert told.slope[0] == pytest.approx((logs[2] - logs[0]) / (2 * step), abs=1e-3)
    assert told.bend[0] == pytest.approx(-(logs[2] - 2 * logs[1] + logs[0]) / step**2, abs=1e-2)


def test_a_judgement_by_mouth_is_integrated_over() -> None:
    low, high, sd, mean, variance = 0.25, math.inf, 0.35, 0.1, 0.3

    def chance(m: float) -> float:
        inside = norm.sf((low - m) / math.sqrt(variance + sd**2))
        return float((1.0 - priors.MOUTH_SLIP) * inside + priors.MOUTH_SLIP / 3.0)

    told = sites.felt(*(np.array([one]) for one in (low, high, sd, mean, variance)))
    step = 1e-3
    logs = [math.log(chance(mean + k * step)) for k in (-1, 0, 1)]
    assert told.log_chance[0] == pytest.approx(logs[1], abs=1e-6)
    assert told.slope[0] == pytest.approx((logs[2] - logs[0]) / (2 * step), abs=1e-4)
    assert told.bend[0] == pytest.approx(-(logs[2] - 2 * logs[1] + logs[0]) / step**2, abs=1e-3)


def test_without_slips_it_is_the_textbooks_gaussian_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mean, variance and evidence at every node, by one inversion of the whole covariance."""
    monkeypatch.setattr(sites, "SLIP_FACTOR", 1.0)
    history, now = lived_reed(7, by_mouth=False)
    quantity: Quantity = "low_a"
    before = beforehand(nobody().taught[quantity], [history], quantity)
    seen = observed([history], quantity)
    after = posterior(seen, quantity, before.coefficients, before.nodes)
    found = at_points(after, points_of([[moment_of(history, now)]]))
    values = seen.low[0]
    prior = at_points(posterior(_blind(seen), quantity, before.coefficients, before.nodes), seen.at)
    for node in (0, 17, 35):
        scatter = seen.read_sd[0] ** 2 + before.nodes.breaths[0, node] ** 2 * (
            PRIORS[quantity].breath_sd ** 2 + seen.blur[0] ** 2
        )
        # Conditions of the readings, not the standard ones, are in `seen.at`.
        whole = prior.covariance[0, node] + np.diag(scatter)
        evidence = multivariate_normal(prior.mean[0, node], whole).logpdf(values)
        assert after.log_evidence[0, node] == pytest.approx(evidence, abs=1e-6)
        pull = np.linalg.solve(whole, values - prior.mean[0, node])
        assert after.pull[0, node] == pytest.approx(pull, abs=1e-6)
        assert after.grip[0, node] == pytest.approx(np.linalg.inv(whole), abs=1e-6)
    assert np.all(found.covariance[0, :, 0, 0] > 0.0)


def _blind(seen: Observed) -> Observed:
    return replace(seen, told=np.zeros_like(seen.told))


def test_chances_of_a_mixture_and_its_ends_belong_together() -> None:
    told = Weighted(weights=np.array([0.3, 0.7]), means=np.array([-1.0, 2.0]), sds=np.array([0.5, 1.0]))
    foretold = told.foretold()
    ends = (foretold.low_95, foretold.low_80, foretold.median, foretold.high_80, foretold.high_95)
    for end, chance in zip(ends, (0.025, 0.1, 0.5, 0.9, 0.975), strict=True):
        assert told.below(end) == pytest.approx(chance, abs=1e-5)
    rng = np.random.default_rng(5)
    drawn = np.where(rng.random(200_000) < 0.3, rng.normal(-1.0, 0.5, 200_000), rng.normal(2.0, 1.0, 200_000))
    assert told.mean == pytest.approx(drawn.mean(), abs=0.02)
    assert told.sd == pytest.approx(drawn.std(), abs=0.02)
    score = np.abs(drawn - 1.2).mean() - 0.5 * np.abs(drawn[:100_000] - drawn[100_000:]).mean()
    assert told.crps(1.2) == pytest.approx(score, abs=0.01)


def test_the_score_of_one_normal_is_the_published_one() -> None:
    """Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359, eq. 21."""
    told = Weighted(weights=np.ones(1), means=np.array([1.0]), sds=np.array([2.0]))
    z = (2.5 - 1.0) / 2.0
    score = 2.0 * (z * (2.0 * norm.cdf(z) - 1.0) + 2.0 * norm.pdf(z) - 1.0 / math.sqrt(math.pi))
    assert told.crps(2.5) == pytest.approx(score, abs=1e-6)
