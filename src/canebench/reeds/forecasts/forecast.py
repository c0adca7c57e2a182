"""The front of the forecasts: a reed's history in, what it will be out, with honest intervals.

`learnt_from` makes a `Population` of all reeds of a bench; `forecasts` and `forecast` use it. Guarded by
`tests/invariants/test_forecasts.py` and `benchmarks/breaking_in/run.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.base.errors import InputError
from canebench.reeds.forecasts.design import moment_of, observed, points_of
from canebench.reeds.forecasts.history import QUANTITIES
from canebench.reeds.forecasts.learning.pooling import beforehand, nobody, weights_of
from canebench.reeds.forecasts.mixture import Weighted, foretold
from canebench.reeds.forecasts.posterior import Mixture, at_points, coefficients, posterior
from canebench.reeds.forecasts.priors import PINCH, PRIORS
from canebench.reeds.forecasts.settled import USUAL_RULE, Settling

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from canebench.base.arrays import FloatArray
    from canebench.reeds.forecasts.design import Moment
    from canebench.reeds.forecasts.history import Quantity, ReedHistory
    from canebench.reeds.forecasts.learning.pooling import Population
    from canebench.reeds.forecasts.mixture import Foretold
    from canebench.reeds.forecasts.settled import SettledRule

#: Where it is looked for that a reed has settled: minutes still to be played.
_LATER_MIN: Final = (0.0, 10.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 240.0, 360.0, 540.0, 800.0)
#: From so many readings on a reed is judged at all.
LEAST_READ: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """So many days on, with so many minutes played by then; both >= 0.

    `dry`, `warm` and `damp` say how it will be read, as `design.observed` has them of a reading; moist, at
    20 °C and 60 % else.
    """

    days: float
    minutes: float
    dry: float = 0.0
    warm: float = 0.0
    damp: float = 0.0

    def __post_init__(self) -> None:
        for field, value in (("days ahead", self.days), ("minutes ahead", self.minutes)):
            if not 0.0 <= value < math.inf:
                raise InputError(field=field, given=f"{value:g}", allowed="0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedForecast:
    """What is foretold of a reed, moist, in a room of 20 °C and 60 %, if it is played and left alone.

    Attributes
    ----------
    number : str
        The reed's.
    readings : int
        At how many times it was read.
    minutes : float
        Played so far, min.
    believed : mapping of quantity to Weighted tuple
        At each time asked for, now first, the settled value last: for chances and scores.
    now, settled : mapping of quantity to Foretold
        As it is, and once it has settled (`SettledRule.after_min`); kPa for strength, else cents.
    ahead : tuple of mappings of quantity to Foretold
        At each time asked for, in that order.
    pinch : mapping of quantity to Foretold
        What a pinch changes in this reed, on the mean.
    settling : Settling
        Whether it has settled, and when it will have.
    """

    number: str
    readings: int
    minutes: float
    believed: Mapping[Quantity, tuple[Weighted, ...]]
    now: Mapping[Quantity, Foretold]
    ahead: tuple[Mapping[Quantity, Foretold], ...]
    settled: Mapping[Quantity, Foretold]
    pinch: Mapping[Quantity, Foretold]
    settling: Settling

    def in_range(self, quantity: Quantity, low: float, high: float, *, place: int = -1) -> float:
        """The chance to lie between two values, settled, or at another place of `believed`."""
        return self.believed[quantity][place].between(low, high)

    def one_pinch(self, quantity: Quantity) -> Foretold:
        """What the next pinch changes: one differs from the next of the same reed."""
        told = self.pinch[quantity]
        sd = math.hypot(told.sd, PRIORS[quantity].pinch_scatter_sd)
        return Weighted(weights=np.ones(1), means=np.array([told.mean]), sds=np.array([sd])).foretold()


def forecast(
    history: ReedHistory,
    *,
    now: datetime,
    ahead: Sequence[Ahead] = (),
    population: Population | None = None,
    rule: SettledRule = USUAL_RULE,
) -> ReedForecast:
    """What one reed will be.

    Parameters
    ----------
    history : ReedHistory
        Its life; what lies after `now` in it counts as known too, so leave that out.
    now : datetime
        The time to look ahead from; with a zone where the history's times have one.
    ahead : sequence of Ahead
        When to foretell it for.
    population : Population or None
        What other reeds teach: `learnt_from`. The reed may be among them; its own lesson is left out.
    rule : SettledRule
        When it counts as settled.

    Returns
    -------
    ReedForecast
        With intervals; wide ones where little is known. Never refuses for want of readings.
    """
    return forecasts([history], now=now, ahead=ahead, population=population, rule=rule)[0]


def forecasts(
    histories: Sequence[ReedHistory],
    *,
    now: datetime,
    ahead: Sequence[Ahead] | Sequence[Sequence[Ahead]] = (),
    population: Population | None = None,
    rule: SettledRule = USUAL_RULE,
) -> list[ReedForecast]:
    """What several reeds will be, in one calculation.

    Parameters
    ----------
    histories : sequence of ReedHistory
        Their lives; what lies after `now` in them counts as known too.
    now, population, rule : datetime, Population or None, SettledRule
        As for `forecast`.
    ahead : sequence of Ahead, or one such sequence for each reed, of one length
        When to foretell them for.

    Returns
    -------
    list of ReedForecast
        One for each.
    """
    if not histories:
        return []
    plans = _plans(ahead, len(histories))
    tables = [_moments(history, now, plan, rule) for history, plan in zip(histories, plans, strict=True)]
    known = population if population is not None else nobody()
    by_quantity = {name: _looked(known, histories, tables, name) for name in QUANTITIES}
    return [
        _told(history, {name: found[place] for name, found in by_quantity.items()}, len(plans[0]), rule)
        for place, history in enumerate(histories)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Of one reed and quantity: at the times asked for, a pinch, and moves over the rule's sessions."""

    believed: tuple[Weighted, ...]
    foretold: tuple[Foretold, ...]
    pinch: Foretold
    moves: tuple[Weighted, ...]


def _plans(ahead: Sequence[Ahead] | Sequence[Sequence[Ahead]], count: int) -> list[list[Ahead]]:
    if all(isinstance(one, Ahead) for one in ahead):
        return [[one for one in ahead if isinstance(one, Ahead)]] * count
    plans = [list(one) for one in ahead if not isinstance(one, Ahead)]
    if len(plans) != count or len({len(plan) for plan in plans}) != 1:
        raise InputError(
            field="ahead",
            given=f"{len(plans)} plans for {count} reeds",
            allowed="one for each, of one length",
        )
    return plans


def _moments(
    history: ReedHistory, now: datetime, plan: Sequence[Ahead], rule: SettledRule
) -> tuple[list[Moment], list[Moment]]:
    """Times asked for (now first, settled last); and pairs a rule's sessions apart, from now on."""
    here = moment_of(history, now)
    session, apart = habit(history, rule)
    later = [
        replace(
            here,
            minutes=here.minutes + one.minutes,
            day=here.day + one.days,
            dry=one.dry,
            warm=one.warm,
            damp=one.damp,
        )
        for one in plan
    ]
    left = max(0.0, rule.after_min - here.minutes)
    settled = replace(here, minutes=here.minutes + left, day=here.day + left / session * apart)
    span = rule.sessions * session
    pairs = []
    for more in _LATER_MIN:
        # What lies further back than its first minute is not asked: a new reed's next sessions are.
        end = max(here.minutes + more, span)
        pairs += [replace(here, minutes=end - span), replace(here, minutes=end)]
    return [here, *later, settled], pairs


def habit(history: ReedHistory, rule: SettledRule = USUAL_RULE) -> tuple[float, float]:
    """How long a session of this reed is, and how far apart.

    Parameters
    ----------
    history : ReedHistory
        Its life.
    rule : SettledRule
        What is usual, until it was played twice.

    Returns
    -------
    (float, float)
        The middle of its sessions, min, and days from one to the next, 0.5 to 7.
    """
    if len(history.played) < 2:
        return rule.session_min, rule.session_days
    days = sorted(one.at for one in history.played)
    apart = (days[-1] - days[0]).total_seconds() / 86_400.0 / (len(days) - 1)
    return float(np.median([one.minutes for one in history.played])), min(7.0, max(0.5, apart))


def _looked(
    population: Population,
    histories: Sequence[ReedHistory],
    tables: Sequence[tuple[list[Moment], list[Moment]]],
    quantity: Quantity,
) -> list[_Seen]:
    before = beforehand(population.taught[quantity], histories, quantity)
    after = posterior(observed(histories, quantity), quantity, before.coefficients, before.nodes)
    weights = weights_of(after)
    asked = at_points(after, points_of([moments for moments, _ in tables]))
    pairs = at_points(after, points_of([pairs for _, pairs in tables]), lasting=True)
    effects = coefficients(after)
    count = asked.mean.shape[-1]
    believed = [
        tuple(_marginal(_of(asked, reed), weights[reed], k).widened(factor) for k in range(count))
        for reed, factor in enumerate(before.factors)
    ]
    ends = foretold([one for row in believed for one in row])
    pinches = foretold([_marginal(_of(effects, reed), weights[reed], PINCH) for reed in range(len(believed))])
    return [
        _Seen(
            believed=believed[reed],
            foretold=tuple(ends[reed * count : (reed + 1) * count]),
            pinch=pinches[reed],
            moves=tuple(
                _move(_of(pairs, reed), weights[reed], 2 * k).widened(factor) for k in range(len(_LATER_MIN))
            ),
        )
        for reed, factor in enumerate(before.factors)
    ]


def _marginal(found: Mixture, weights: FloatArray, place: int) -> Weighted:
    variances = found.covariance[:, place, place]
    return Weighted(weights=weights, means=found.mean[:, place], sds=np.sqrt(np.maximum(variances, 1e-12)))


def _move(found: Mixture, weights: FloatArray, place: int) -> Weighted:
    """How far it goes between two neighbours."""
    pair = found.covariance[:, place : place + 2, place : place + 2]
    variances = pair[:, 0, 0] + pair[:, 1, 1] - 2.0 * pair[:, 0, 1]
    return Weighted(
        weights=weights,
        means=found.mean[:, place + 1] - found.mean[:, place],
        sds=np.sqrt(np.maximum(variances, 1e-12)),
    )


def _of(found: Mixture, reed: int) -> Mixture:
    return Mixture(mean=found.mean[reed], covariance=found.covariance[reed])


def _told(
    history: ReedHistory, seen: Mapping[Quantity, _Seen], count: int, rule: SettledRule
) -> ReedForecast:
    return ReedForecast(
        number=history.number,
        readings=history.read,
        minutes=math.fsum(one.minutes for one in history.played),
        believed={name: seen[name].believed for name in QUANTITIES},
        now={name: seen[name].foretold[0] for name in QUANTITIES},
        ahead=tuple({name: seen[name].foretold[1 + k] for name in QUANTITIES} for k in range(count)),
        settled={name: seen[name].foretold[-1] for name in QUANTITIES},
        pinch={name: seen[name].pinch for name in QUANTITIES},
        settling=_settling(history, seen, rule),
    )


def _settling(history: ReedHistory, seen: Mapping[Quantity, _Seen], rule: SettledRule) -> Settling:
    """From how far strength and low A go over the rule's sessions, now and later."""
    chances = [
        strength.between(-rule.onset_kpa, rule.onset_kpa) * low_a.between(-rule.low_a_cents, rule.low_a_cents)
        for strength, low_a in zip(seen["strength"].moves, seen["low_a"].moves, strict=True)
    ]
    # By then, not then: what has settled once counts as settled.
    curve = tuple(zip(_LATER_MIN, accumulate(chances, max), strict=True))
    return Settling(curve=curve, settled=chances[0] >= rule.sure and history.read >= LEAST_READ)
