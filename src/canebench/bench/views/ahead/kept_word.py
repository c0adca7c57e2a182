"""What was foretold one to two weeks before a reading, beside what was read then, and how often it held.

Each is worked out anew from what the ledger held at that time: nothing later teaches it. Guarded by
`tests/doors/test_kept_word.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import day_said
from canebench.base.pressure import PressureUnit, pressure_in
from canebench.base.uncertain import number
from canebench.base.units import cents_to_hz
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.views.ahead.histories import MOST_REEDS, REFERENCE_HZ, bench_around, until
from canebench.bench.views.ahead.words import cents_said, hertz_said, plays_said
from canebench.reeds.forecasts.design import observed
from canebench.reeds.forecasts.forecast import LEAST_READ, Ahead, forecasts
from canebench.reeds.forecasts.history import QUANTITIES, value_of
from canebench.reeds.forecasts.learning.pooling import learnt_from
from canebench.reeds.forecasts.mixture import foretold
from canebench.reeds.forecasts.priors import DAMP, DRY, PRIORS, WARM
from canebench.reeds.forecasts.reliability import reliability

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from canebench.bench.views.ahead.histories import Bench
    from canebench.reeds.forecasts.history import Quantity, ReedHistory, ReedReading
    from canebench.reeds.forecasts.mixture import Foretold, Weighted
    from canebench.reeds.forecasts.reliability import LevelHeld
    from canebench.store.ledger import Ledger

#: Readings of a week are foretold together from what was known so many days before its end.
_AHEAD: Final = timedelta(days=14)
_SPAN: Final = timedelta(days=7)
#: So many weeks are looked back upon, the newest first, until there are so many forecasts: each week costs as
#: much as a lot's forecast.
SPANS: Final = 8
ENOUGH: Final = 240
_NONE: Final = "No forecast’s day has come yet: a reed read twice, and again two weeks later, is the first."
#: The intervals that are told with every forecast, per cent.
_TOLD: Final = (80, 95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One forecast and its outcome; `place` is where in the distribution the reading fell, 0 to 1."""

    day: str
    reed: str
    reed_id: int
    what: Quantity
    foretold: str
    read: str
    place: float

    @property
    def within_80(self) -> bool:
        """Whether the reading lay within the 80 % interval."""
        return 0.1 <= self.place <= 0.9

    @property
    def within_95(self) -> bool:
        """Whether it lay within the 95 % interval."""
        return 0.025 <= self.place <= 0.975


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """How often the forecasts of one quantity held: in words, and for each interval from narrow to wide."""

    what: Quantity
    said: str
    levels: tuple[LevelHeld, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptWord:
    """Every forecast whose day has come, newest first; how often each quantity's held; why there are none."""

    said: tuple[Said, ...]
    held: tuple[Reliability, ...]
    why_none: str


def kept_word(ledger: Ledger) -> KeptWord:
    """How often what was foretold two weeks ahead was true, of the reeds whose state changed last."""
    with ledger.reading() as reader:
        bench, unit, zone = bench_around(reader, None), unit_of(reader) or PressureUnit.INH2O, zone_of(reader)
        now = ledger.clock().astimezone(zone)
    # Weeks of the calendar, so that the same forecasts are scored whenever one asks. A week without a reading
    # has nothing to look back upon; what is dated later than now is a slip.
    read = [one.at for life in bench.lives.values() for one in life.readings if one.at <= now]
    ends = {_week_end(at.astimezone(zone)) for at in read}
    reeds = list(bench.lives)
    said: list[Said] = []
    for end in sorted(ends, reverse=True)[:SPANS]:
        week = _scored(tuple(until(life, min(end, now)) for life in bench.lives.values()), end)
        said += (_said(bench, reeds[one.reed], one, unit, day_said(one.at.isoformat(), zone)) for one in week)
        if len(said) >= ENOUGH:
            break
    return KeptWord(said=tuple(said), held=tuple(_held(said)), why_none="" if said else _NONE)


def how_counted() -> str:
    """What is looked back upon, and what the intervals take for granted."""
    return (
        f"Counted are the newest {SPANS} weeks in which anything was read, fewer where they hold more than "
        f"{ENOUGH} forecasts, of the {MOST_REEDS} reeds whose state changed last. A reed that was pinched or "
        "set anew in between is left out. The share is Wilson’s interval (1927), as if no reading told of "
        "another: reeds that were read on one evening may err together. Of twenty ranges that are right it "
        "calls one wrong."
    )


def _week_end(at: datetime) -> datetime:
    """The Monday after, when it begins there."""
    day = at.date() + timedelta(days=7 - at.weekday())
    return datetime.combine(day, time(), tzinfo=at.tzinfo)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scored:
    """A reading of a reed, by its place among them, what was foretold of it, and where it fell in that."""

    reed: int
    what: Quantity
    at: datetime
    value: float
    told: Foretold
    place: float


@lru_cache(maxsize=2 * SPANS)
def _scored(lives: tuple[ReedHistory, ...], end: datetime) -> tuple[_Scored, ...]:
    """Readings of one week, foretold from what was known two weeks before its end.

    What is past stays as it is, so it is kept: another reading costs its own week alone.
    """
    start, cut = end - _SPAN, end - _AHEAD
    known = [until(life, cut) for life in lives]
    newest = [_newest(life, start) for life in lives]
    scored = [
        reed
        for reed, life in enumerate(lives)
        if newest[reed] and known[reed].read >= LEAST_READ and not _handled(life, cut, newest[reed].values())
    ]
    if not scored:
        return ()
    plans = [[_then(lives[reed], quantity, newest[reed], cut) for quantity in QUANTITIES] for reed in scored]
    population = learnt_from([life for life in known if life.read])
    found = forecasts([known[reed] for reed in scored], now=cut, ahead=plans, population=population)
    read = [
        (reed, quantity, one, *_told_by(lives[reed], quantity, one, forecast.believed[quantity][1 + place]))
        for reed, forecast in zip(scored, found, strict=True)
        for place, quantity in enumerate(QUANTITIES)
        if (one := newest[reed].get(quantity)) is not None
    ]
    return tuple(
        _Scored(reed=reed, what=quantity, at=one.at, value=value, told=told, place=believed.below(value))
        for (reed, quantity, one, value, believed), told in zip(
            read, foretold([believed for *_, believed in read]), strict=True
        )
    )


def _told_by(
    life: ReedHistory, quantity: Quantity, one: ReedReading, believed: Weighted
) -> tuple[float, Weighted]:
    """A reading's value, and what was believed of that very reading.

    It scatters by itself about what the reed is: the gauge, the breath, what is not known of the room.
    """
    seen = observed([_alone(life, one)], quantity)
    scatter = math.hypot(float(seen.read_sd[0, 0]), PRIORS[quantity].breath_sd, float(seen.blur[0, 0]))
    return float(seen.low[0, 0]), believed.and_then(0.0, scatter)


def _newest(life: ReedHistory, start: datetime) -> dict[Quantity, ReedReading]:
    """The newest reading of each quantity after then."""
    read = sorted((one for one in life.readings if one.at > start), key=lambda one: one.at)
    return {quantity: one for quantity in QUANTITIES for one in read if value_of(one, quantity) is not None}


def _handled(life: ReedHistory, cut: datetime, read: Iterable[ReedReading]) -> bool:
    """A pinch or another setting in between is no forecast's fault."""
    last = max(one.at for one in read)
    return any(cut < one.at <= last for one in life.handled)


def _then(life: ReedHistory, quantity: Quantity, newest: dict[Quantity, ReedReading], cut: datetime) -> Ahead:
    """Until a reading, with the minutes that were played by then, in the room in which it was read."""
    one = newest.get(quantity)
    if one is None:
        return Ahead(days=0.0, minutes=0.0)
    there = observed([_alone(life, one)], quantity).at.covariates[0, 0]
    return Ahead(
        days=(one.at - cut).total_seconds() / 86_400.0,
        minutes=life.minutes_before(one.at) - life.minutes_before(cut),
        dry=float(there[DRY]),
        warm=float(there[WARM]),
        damp=float(there[DAMP]),
    )


def _alone(life: ReedHistory, one: ReedReading) -> ReedHistory:
    return replace(life, readings=(one,), by_mouth=())


def _said(bench: Bench, reed_id: int, one: _Scored, unit: PressureUnit, day: str) -> Said:
    if one.what == "strength":
        share = bench.shares[reed_id]
        told = plays_said(share.as_playing(one.told), unit)
        was = pressure_in(one.value / share.mean, unit)
    elif one.what == "low_a":
        told, was = hertz_said(one.told), f"{number(cents_to_hz(one.value, REFERENCE_HZ), 1)} Hz"
    else:
        told, was = cents_said(one.told), f"{number(one.value, 0, signed=True)} cents"
    return Said(
        day=day,
        reed=bench.reeds[reed_id].number,
        reed_id=reed_id,
        what=one.what,
        foretold=told,
        read=was,
        place=min(1.0, max(0.0, one.place)),
    )


def _held(said: Sequence[Said]) -> Iterator[Reliability]:
    for what in QUANTITIES:
        places = [one.place for one in said if one.what == what]
        if places:
            levels = reliability(places)
            told = [one for one in levels if one.stated in _TOLD]
            yield Reliability(what=what, said=_held_said(told), levels=levels)


def _held_said(told: Sequence[LevelHeld]) -> str:
    of = told[0].of
    parts = [f"{one.inside} fell inside the {one.stated} % range: {one.bears_out}" for one in told]
    readings = f"{of} reading" if of == 1 else f"{of} readings"
    return f"Of {readings}, {'; '.join(parts)}."
