"""How long reeds live: Kaplan & Meier 1958, with those that still play counted as far as they have come.

Guarded by `tests/published/test_remission.py` and `tests/cross_method/test_reed_lives.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from canebench.base.errors import InputError
from canebench.base.sizes import is_finite, said
from canebench.reeds.lots.shares import COVERS, Interval, check_covers

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedLife:
    """How long a reed has lived; it checks itself.

    Attributes
    ----------
    reed : str
        Its number.
    lived : float > 0
        Hours played, or days, of one kind for all.
    ended : bool
        Whether it is worn out; False where it still plays, or went for another reason: dropped, given away.
    """

    reed: str
    lived: float
    ended: bool

    def __post_init__(self) -> None:
        if not is_finite(self.lived) or self.lived <= 0.0:
            near = f"{-self.lived:g}" if is_finite(self.lived) and self.lived < 0 else None
            raise InputError(
                field=f"life of reed {self.reed}",
                given=said(self.lived),
                allowed="more than 0 is needed",
                nearest=near,
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeStep:
    """One time at which reeds ended.

    Attributes
    ----------
    lived : float
        When.
    at_risk, ended : int
        Reeds that had come so far, and that ended then.
    still : Interval
        The share that lives on after it.
    sd : float
        Of that share: Greenwood 1926.
    """

    lived: float
    at_risk: int
    ended: int
    still: Interval
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeCurve:
    """The share of reeds that still play, after any life.

    Attributes
    ----------
    steps : tuple of LifeStep
        By time; none where none has ended.
    reeds, ended : int
        How many there are, and how many of them have ended.
    median : Interval
        When half of them have; NaN, or an end None, where the curve does not come so far down.
    """

    steps: tuple[LifeStep, ...]
    reeds: int
    ended: int
    median: Interval

    def still(self, lived: float) -> float:
        """The share that lives on after so long; 1 before the first end."""
        return min((step.still.value for step in self.steps if step.lived <= lived), default=1.0)


def life_curve(lives: Sequence[ReedLife], *, covers: float = COVERS) -> LifeCurve:
    """The share of reeds that still play, with those that have not ended.

    Product-limit estimate (Kaplan & Meier 1958, *J. Am. Stat. Assoc.* 53:457), Greenwood's variance,
    intervals on the log(−log) scale; those of the median by Brookmeyer & Crowley 1982 (*Biometrics* 38:29).

    Parameters
    ----------
    lives : sequence of ReedLife
        Each reed once.
    covers : float
        From 0.5 to 0.999.

    Returns
    -------
    LifeCurve
        Where a reed ends at the time to which another has come, the other counts as at risk.

    Raises
    ------
    InputError
        A reed twice, or a coverage that is none.
    """
    check_covers(covers)
    seen: set[str] = set()
    for one in lives:
        if one.reed in seen:
            raise InputError(
                field="reed",
                given=f"{one.reed} twice",
                allowed="each reed has one life",
                nearest="another number for the other, or its longer life alone",
            )
        seen.add(one.reed)
    z = NormalDist().inv_cdf(0.5 + covers / 2)
    part, total, steps = 1.0, 0.0, []
    for at in sorted({one.lived for one in lives if one.ended}):
        at_risk = sum(one.lived >= at for one in lives)
        ended = sum(one.ended and one.lived == at for one in lives)
        part *= 1 - ended / at_risk
        total += ended / (at_risk * (at_risk - ended)) if ended < at_risk else math.inf
        steps.append(
            LifeStep(
                lived=at,
                at_risk=at_risk,
                ended=ended,
                still=_on_log_log(part, total, z),
                sd=part * math.sqrt(total) if part else 0.0,
            )
        )
    return LifeCurve(
        steps=tuple(steps),
        reeds=len(lives),
        ended=sum(one.ended for one in lives),
        median=_median(steps),
    )


def median_difference(
    one: Sequence[ReedLife], other: Sequence[ReedLife], *, covers: float = COVERS, draws: int = 2000
) -> Interval:
    """By how much the median life of one lot is above another's.

    Percentile bootstrap over reeds (Efron 1981, *J. Am. Stat. Assoc.* 76:312), with a fixed beginning: the
    same for the same input. A draw whose curve does not come down to a half is endless on that side.

    Parameters
    ----------
    one, other : sequences of ReedLife
        The two lots.
    covers : float
        From 0.5 to 0.999.
    draws : int
        How many.

    Returns
    -------
    Interval
        In the unit of the lives; an end None where it is endless, a NaN value where a median is not reached.
    """
    check_covers(covers)
    value = life_curve(one).median.value - life_curve(other).median.value
    if not one or not other:
        return Interval(value=math.nan, low=None, high=None)
    rng = np.random.default_rng(19810627)
    medians = [_medians(lives, rng, draws) for lives in (one, other)]
    # Endless beside endless says nothing: such a draw lies on both outer sides.
    both = np.isinf(medians[0]) & np.isinf(medians[1])
    between = np.where(both, 0.0, medians[0]) - np.where(both, 0.0, medians[1])
    tail = (1 - covers) / 2
    low = np.quantile(np.where(both, -np.inf, between), tail, method="lower")
    high = np.quantile(np.where(both, np.inf, between), 1 - tail, method="higher")
    return Interval(
        value=value,
        low=float(low) if math.isfinite(low) else None,
        high=float(high) if math.isfinite(high) else None,
    )


def _medians(lives: Sequence[ReedLife], rng: np.random.Generator, draws: int) -> np.ndarray:
    """Medians of lots drawn from this one; endless where the curve stays above a half."""
    lived = np.array([one.lived for one in lives])
    ended = np.array([one.ended for one in lives])
    order = np.argsort(lived, kind="stable")
    lived, ended = lived[order], ended[order]
    times, first = np.unique(lived, return_index=True)
    drawn = rng.multinomial(len(lives), np.full(len(lives), 1 / len(lives)), size=draws)
    came = np.add.reduceat(drawn, first, axis=1)
    gone = np.add.reduceat(drawn * ended, first, axis=1)
    at_risk = np.cumsum(came[:, ::-1], axis=1)[:, ::-1]
    still = np.cumprod(1 - gone / np.maximum(at_risk, 1), axis=1)
    below = still <= 0.5 + 1e-12
    return np.where(below.any(axis=1), times[np.argmax(below, axis=1)], np.inf)


def _on_log_log(part: float, total: float, z: float) -> Interval:
    """Ends of a share, log(−log) scale; none where the share is 0 or its variance endless."""
    if not 0.0 < part < 1.0:
        return Interval(value=part, low=None, high=None)
    width = math.exp(z * math.sqrt(total) / -math.log(part))
    return Interval(value=part, low=part**width, high=part ** (1 / width))


def _median(steps: Sequence[LifeStep]) -> Interval:
    """The first time at which the curve, or an end of its interval, is at a half or below."""

    def reached(parts: Sequence[float | None]) -> float | None:
        for step, part in zip(steps, parts, strict=True):
            if part is not None and part <= 0.5 + 1e-12:
                return step.lived
        return None

    value = reached([step.still.value for step in steps])
    return Interval(
        value=math.nan if value is None else value,
        low=reached([step.still.low for step in steps]),
        high=reached([step.still.high for step in steps]),
    )
