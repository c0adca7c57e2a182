"""A reed's history as arrays: what each reading says of which coefficients, and how readings hang together.

Reeds are padded to the longest, so that a whole lot is one calculation; a reading that pads has no weight.
Guarded by `tests/invariants/test_forecasts.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from canebench.reeds.forecasts.history import MOUTH_STEPS_KPA, value_of
from canebench.reeds.forecasts.priors import (
    COEFFICIENTS,
    CREEP,
    CREEP_FROM_MIN,
    DAMP,
    DRY,
    MOUTH_SD_KPA,
    PINCH,
    PRIORS,
    SETTLED,
    TO_GO,
    WARM,
    WEATHER_DAYS,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from canebench.base.arrays import BoolArray, FloatArray
    from canebench.reeds.forecasts.history import MouthReading, Quantity, ReedHistory, ReedReading

#: More readings of one quantity than this are not used: those nearest in minutes make place.
MOST_READINGS: Final = 32
_DAY_S: Final = 86_400.0
#: Of the table of readings: seven of where, low, high, scatter, by mouth, told, blur.
_COLUMNS: Final = 13
#: A reed is moist after so many minutes, and dry after so many days of rest (estimates of ours; the bag is
#: saturated after some 20 minutes of playing).
_MOIST_MIN, _DRIES_DAYS = 7.0, 1.0
#: Where it is not known how long a reed was blown or how warm and damp the room was: mean and spread.
_DRYNESS_UNKNOWN: Final = (0.3, 0.3)
_WARM_UNKNOWN: Final = (0.0, 0.18)
_DAMP_UNKNOWN: Final = (0.0, 0.7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Where in its life a reed is: minutes played, days on the calendar, pinches and settings so far.

    `dry`, `warm` and `damp` are what those coefficients count there: 0 moist, at 20 °C, at 60 %.
    """

    minutes: float
    day: float
    pinches: int
    settings: int
    dry: float = 0.0
    warm: float = 0.0
    damp: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Moments of several reeds: (reeds, points) each but for `covariates`, (reeds, points, 7).

    The entry `TO_GO` of the covariates is left to `lines`.
    """

    minutes: FloatArray
    days: FloatArray
    pinches: FloatArray
    settings: FloatArray
    covariates: FloatArray

    def lines(self, tau_min: FloatArray) -> FloatArray:
        """What each coefficient counts at each point, by time constant (reeds, taus, points, 7)."""
        found = np.repeat(self.covariates[:, None], len(tau_min), axis=1)
        found[..., TO_GO] = np.exp(-self.minutes[:, None, :] / tau_min[:, None])
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """Readings of one quantity of several reeds, and what is known of each: (reeds, readings).

    Attributes
    ----------
    at : Points
        Where they were read.
    low, high : array
        A reading's value, twice; of one by mouth, between what the strength lies.
    read_sd : array
        Told with it.
    blur : array
        Of what is not known of the room and the reed's moisture.
    by_mouth, told : boolean array
        Whether it was read by mouth; False in `told` where it only pads.
    """

    at: Points
    low: FloatArray
    high: FloatArray
    read_sd: FloatArray
    blur: FloatArray
    by_mouth: BoolArray
    told: BoolArray


def day_of(at: datetime) -> float:
    """Days on a calendar, from an arbitrary day on."""
    return at.timestamp() / _DAY_S


def moment_of(history: ReedHistory, at: datetime) -> Moment:
    """Where a reed stands at that time, before what is done then."""
    return Moment(
        minutes=history.minutes_before(at),
        day=day_of(at),
        pinches=sum(one.what == "pinch" and one.at < at for one in history.handled),
        settings=sum(one.what == "set" and one.at < at for one in history.handled),
    )


def points_of(moments: Sequence[Sequence[Moment]]) -> Points:
    """Moments of reeds, as many of each."""
    table = np.array(
        [[(m.minutes, m.day, m.pinches, m.settings, m.dry, m.warm, m.damp) for m in row] for row in moments],
        dtype=float,
    )
    covariates = np.zeros((*table.shape[:2], len(COEFFICIENTS)))
    covariates[..., SETTLED] = 1.0
    covariates[..., CREEP] = np.log1p(table[..., 0] / CREEP_FROM_MIN)
    covariates[..., PINCH] = table[..., 2]
    covariates[..., [DRY, WARM, DAMP]] = table[..., 4:]
    minutes, days, pinches, settings = np.moveaxis(table[..., :4], -1, 0)
    return Points(minutes=minutes, days=days, pinches=pinches, settings=settings, covariates=covariates)


def observed(histories: Sequence[ReedHistory], quantity: Quantity) -> Observed:
    """All that was read of that quantity.

    Parameters
    ----------
    histories : sequence of ReedHistory
        Their lives.
    quantity : Quantity
        Of what.

    Returns
    -------
    Observed
        A row a reed, as wide as the one that was read most often, thinned to `MOST_READINGS`.
    """
    rows = [_thinned(_rows(history, quantity)) for history in histories]
    most = max(1, *(len(row) for row in rows)) if rows else 1
    table = np.zeros((len(rows), most, _COLUMNS))
    for reed, row in enumerate(rows):
        table[reed, : len(row)] = np.reshape(row, (-1, _COLUMNS))
    covariates = np.zeros((len(rows), most, len(COEFFICIENTS)))
    covariates[..., SETTLED] = 1.0
    covariates[..., CREEP] = np.log1p(table[..., 0] / CREEP_FROM_MIN)
    covariates[..., PINCH] = table[..., 2]
    covariates[..., [DRY, WARM, DAMP]] = table[..., 4:7]
    return Observed(
        at=Points(
            minutes=table[..., 0],
            days=table[..., 1],
            pinches=table[..., 2],
            settings=table[..., 3],
            covariates=covariates,
        ),
        low=table[..., 7],
        high=table[..., 8],
        read_sd=np.where(table[..., 11] > 0.0, table[..., 9], 1.0),
        by_mouth=table[..., 10] > 0.0,
        told=table[..., 11] > 0.0,
        blur=table[..., 12],
    )


def _rows(history: ReedHistory, quantity: Quantity) -> list[tuple[float, ...]]:
    """Each reading: where it was, low, high, its scatter, if by mouth, that it was told, the room's blur."""
    prior, found = PRIORS[quantity], []
    for reading in history.readings:
        told = value_of(reading, quantity)
        if told is not None:
            value, sd = told
            *where, blur = _where(history, reading, quantity)
            found.append((*where, value, value, prior.read_sd if sd is None else sd, 0.0, 1.0, blur))
    if quantity == "strength":
        for felt in history.by_mouth:
            *where, blur = _where(history, felt, quantity)
            low, high = (felt.than_kpa + step for step in MOUTH_STEPS_KPA[felt.words])
            found.append((*where, low, high, math.hypot(MOUTH_SD_KPA, felt.than_sd_kpa), 1.0, 1.0, blur))
    return found


def _where(
    history: ReedHistory, reading: ReedReading | MouthReading, quantity: Quantity
) -> tuple[float, ...]:
    """Minutes, day, pinches, settings, dryness, warmth, dampness, and what of these is not known."""
    moment, mean = moment_of(history, reading.at), PRIORS[quantity].mean
    dryness = _dryness(history, reading)
    warm = _WARM_UNKNOWN if reading.room_degc is None else ((reading.room_degc - 20.0) / 10.0, 0.0)
    damp = _DAMP_UNKNOWN if reading.room_rh is None else ((reading.room_rh - 60.0) / 20.0, 0.0)
    blur = math.hypot(mean[DRY] * dryness[1], mean[WARM] * warm[1], mean[DAMP] * damp[1])
    at = (moment.minutes, moment.day, float(moment.pinches), float(moment.settings))
    return (*at, dryness[0], warm[0], damp[0], blur)


def _dryness(history: ReedHistory, reading: ReedReading | MouthReading) -> tuple[float, float]:
    """From 0, moist, to 1, dry, and how well that is known."""
    day = day_of(reading.at)
    rests = [day - day_of(one.at) for one in history.played if one.at < reading.at]
    if reading.warm_min is None:
        just_played = bool(rests) and min(rests) < 0.25
        return (0.0, 0.0) if just_played else _DRYNESS_UNKNOWN
    before = [rest for rest in rests if rest >= 0.25]
    dried = 1.0 - math.exp(-min(before) / _DRIES_DAYS) if before else 1.0
    return dried * math.exp(-reading.warm_min / _MOIST_MIN), 0.0


def _thinned(rows: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
    """At most `MOST_READINGS`, by time; the first and the newest stay."""
    kept = sorted(rows, key=lambda row: row[1])
    while len(kept) > MOST_READINGS:
        steps = [
            abs(math.log1p(kept[i + 1][0]) - math.log1p(kept[i - 1][0]))
            + (kept[i + 1][1] - kept[i - 1][1]) / 60
            for i in range(1, len(kept) - 1)
        ]
        del kept[1 + steps.index(min(steps))]
    return kept


def stray_covariance(one: Points, other: Points, quantity: Quantity, *, lasting: bool = False) -> FloatArray:
    """Between points of the same reeds, of what no line follows, at the usual size (reeds, points, points).

    Wiener processes in the logarithm of minutes and in minutes, and weather that comes and goes (Ornstein &
    Uhlenbeck 1930), which is left out where `lasting`.
    """
    prior = PRIORS[quantity]
    creep = np.minimum(
        np.log1p(one.minutes / CREEP_FROM_MIN)[:, :, None],
        np.log1p(other.minutes / CREEP_FROM_MIN)[:, None, :],
    )
    wear = np.minimum(one.minutes[:, :, None], other.minutes[:, None, :]) / 100.0
    found = prior.stray_sd**2 * creep + prior.wear_sd**2 * wear
    if lasting:
        return np.asarray(found)
    apart = np.abs(one.days[:, :, None] - other.days[:, None, :])
    return np.asarray(found + prior.weather_sd**2 * np.exp(-apart / WEATHER_DAYS))


def handling_covariance(one: Points, other: Points, quantity: Quantity) -> FloatArray:
    """Between points of the same reeds, of settings and of pinches beside their mean."""
    prior = PRIORS[quantity]
    return np.asarray(
        prior.set_sd**2 * np.minimum(one.settings[:, :, None], other.settings[:, None, :])
        + prior.pinch_scatter_sd**2 * np.minimum(one.pinches[:, :, None], other.pinches[:, None, :])
    )
