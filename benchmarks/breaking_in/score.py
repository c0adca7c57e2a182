"""Forecasts of a bench's reeds beside what came: intervals, errors, and two plain rules of thumb."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from breaking_in.lives import AHEAD_DAYS
from canebench.base.pressure import PressureUnit, to_kpa
from canebench.reeds.forecasts.forecast import Ahead, forecasts
from canebench.reeds.forecasts.history import (
    QUANTITIES,
    Handling,
    MouthReading,
    PlayedSpell,
    ReedHistory,
    ReedReading,
    value_of,
)
from canebench.reeds.forecasts.learning.pooling import learnt_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from breaking_in.lives import Life, True3
    from canebench.reeds.forecasts.history import Quantity

_FIRST: Final = datetime(2031, 1, 1, 18, tzinfo=UTC)
#: By how much a reed differs that "a little stronger" or weaker was told of, inches of water; for the rules
#: of thumb, which have nothing better where strength was told by mouth.
_WORD_INH2O: Final = {"weaker": -2.0, "same": 0.0, "stronger": 2.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One forecast of one quantity of one reed.

    `readings` counts those of that quantity; `last` and `lot` are errors of the rules of thumb, None where
    they have nothing to say. `place` is where in its forecast the truth fell, 0 to 1: of true forecasts these
    are spread evenly.
    """

    quantity: Quantity
    readings: int
    truth: float
    place: float
    error: float
    crps: float
    in_80: bool
    in_95: bool
    width_80: float
    last: float | None
    lot: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """All forecasts of one bench, and the processor time they took, s: together, and of one reed alone."""

    judged: tuple[Judged, ...]
    together_s: float
    alone_s: float


def judged_bench(lives: Sequence[Life]) -> Bench:
    """Forecasts two weeks ahead of every reed that was read, from the whole bench."""
    histories = [history_of(life) for life in lives]
    now = at(lives[0].now)
    plans = [[Ahead(days=AHEAD_DAYS, minutes=life.planned_minutes)] for life in lives]
    began = time.process_time()
    population = learnt_from(histories)
    found = forecasts(histories, now=now, ahead=plans, population=population)
    together = time.process_time() - began
    began = time.process_time()
    forecasts(histories[:1], now=now, ahead=plans[:1], population=population)
    alone = time.process_time() - began
    judged = []
    for quantity in QUANTITIES:
        values = [_values(life, history, quantity) for life, history in zip(lives, histories, strict=True)]
        for place, life in enumerate(lives):
            if not values[place]:
                continue
            told, truth = found[place].ahead[0][quantity], _true(life.then, quantity)
            believed = found[place].believed[quantity][1]
            lot = [v[-1] for v, other in zip(values, lives, strict=True) if v and other.lot == life.lot]
            judged.append(
                Judged(
                    quantity=quantity,
                    readings=len(values[place]),
                    truth=truth,
                    error=abs(told.median - truth),
                    place=believed.below(truth),
                    crps=believed.crps(truth),
                    in_80=told.low_80 <= truth <= told.high_80,
                    in_95=told.low_95 <= truth <= told.high_95,
                    width_80=told.high_80 - told.low_80,
                    last=abs(values[place][-1] - truth),
                    lot=abs(float(np.mean(lot)) - truth),
                )
            )
    return Bench(judged=tuple(judged), together_s=together, alone_s=alone)


def history_of(life: Life) -> ReedHistory:
    """A life as it was logged, in our units."""
    return ReedHistory(
        number=life.number,
        lot=life.lot,
        cut=life.cut,
        chanter=life.chanter,
        played=tuple(
            PlayedSpell(at=at(one.day), minutes=one.logged_minutes)
            for one in life.sittings
            if one.logged_minutes is not None
        ),
        readings=tuple(
            ReedReading(
                at=at(one.day),
                strength_kpa=None if one.onset_inh2o is None else _kpa(one.onset_inh2o),
                low_a_cents=one.low_a_cents,
                tilt_cents=one.tilt_cents,
                warm_min=one.warm_min,
                room_degc=one.degc,
                room_rh=one.rh,
            )
            for one in life.looks
        ),
        by_mouth=tuple(
            MouthReading(at=at(one.day), words=one.word, than_kpa=_kpa(one.than_inh2o)) for one in life.felt
        ),
        handled=tuple(
            Handling(at=at(day), what="pinch" if what == "pinch" else "set") for day, what in life.handled
        ),
    )


def _values(life: Life, history: ReedHistory, quantity: Quantity) -> list[float]:
    """What was read, in order; of words the rule of thumb's figure."""
    if quantity == "strength" and life.felt:
        return [_kpa(one.than_inh2o + _WORD_INH2O[one.word]) for one in life.felt]
    told = [value_of(one, quantity) for one in sorted(history.readings, key=lambda one: one.at)]
    return [one[0] for one in told if one is not None]


def _true(then: True3, quantity: Quantity) -> float:
    return {
        "strength": _kpa(then.onset_inh2o),
        "low_a": then.low_a_cents,
        "tilt": then.tilt_cents,
    }[quantity]


def at(day: float) -> datetime:
    """The moment of a world's day."""
    return _FIRST + timedelta(days=day)


def _kpa(inh2o: float) -> float:
    return to_kpa(inh2o, PressureUnit.INH2O)
