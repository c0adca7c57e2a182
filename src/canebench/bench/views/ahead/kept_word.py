"""What was foretold one to two weeks before a reading, beside what was read then.

Each is worked out anew from what the ledger held at that time: nothing later teaches it. Guarded by
`tests/doors/test_forecast_command.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Final, Literal, get_args

from canebench.base.clock.local_time import day_said
from canebench.base.pressure import PressureUnit, pressure_in
from canebench.base.uncertain import number
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.views.ahead.histories import bench_around, known_by
from canebench.bench.views.ahead.words import cents_said, plays_said
from canebench.reeds.forecasts.forecast import LEAST_READ, Ahead, forecasts
from canebench.reeds.forecasts.history import value_of
from canebench.reeds.forecasts.priors import PRIORS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from canebench.bench.views.ahead.histories import Bench
    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.history import ReedHistory, ReedReading
    from canebench.store.ledger import Ledger

#: Readings of a week are foretold together from what was known so many days before its end.
_AHEAD: Final = timedelta(days=14)
_SPAN: Final = timedelta(days=7)
#: So many weeks are looked back upon, the newest first: each costs as much as a lot's forecast.
_SPANS: Final = 8
#: From so many on a share is told.
_ENOUGH: Final = 5
_NONE: Final = "No forecast’s day has come yet: a reed read twice, and again two weeks later, is the first."
#: Low A goes with the room, which is seldom told: strength and tilt are scored.
Scored = Literal["strength", "tilt"]
_SCORED: Final[tuple[Scored, ...]] = get_args(Scored)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One forecast and its outcome; `place` is where in the distribution the reading fell, 0 to 1."""

    day: str
    reed: str
    what: Scored
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
class KeptWord:
    """Every forecast whose day has come, the newest first; how many held, in words; why there are none."""

    said: tuple[Said, ...]
    held: tuple[str, ...]
    why_none: str


def kept_word(ledger: Ledger) -> KeptWord:
    """How often what was foretold two weeks ahead was true, of the reeds whose state changed last."""
    with ledger.reading() as reader:
        bench, unit, zone = bench_around(reader, None), unit_of(reader) or PressureUnit.INH2O, zone_of(reader)
        now = ledger.clock().astimezone(zone)
    # Weeks of the calendar, so that the same forecasts are scored whenever one asks. A week without a reading
    # has nothing to look back upon.
    bench = replace(bench, lives=known_by(bench, now).lives)
    read = [one.at for life in bench.lives.values() for one in life.readings]
    ends = {_week_end(at.astimezone(zone)) for at in read}
    said = tuple(
        replace(one, day=day_said(one.day, zone))
        for end in sorted(ends, reverse=True)[:_SPANS]
        for one in _span(bench, end, unit)
    )
    return KeptWord(
        said=said,
        held=tuple(_held(said)),
        why_none="" if said else _NONE,
    )


def _week_end(at: datetime) -> datetime:
    """The Monday after, when it begins there."""
    day = at.date() + timedelta(days=7 - at.weekday())
    return datetime.combine(day, time(), tzinfo=at.tzinfo)


def _span(bench: Bench, end: datetime, unit: PressureUnit) -> Iterator[Said]:
    """Readings of one week, foretold from what was known two weeks before its end."""
    start, cut = end - _SPAN, end - _AHEAD
    known = known_by(bench, cut)
    read = {
        reed_id: sorted((one for one in life.readings if start < one.at <= end), key=lambda one: one.at)
        for reed_id, life in bench.lives.items()
    }
    # A pinch or another setting in between is no forecast's fault.
    scored = [
        reed_id
        for reed_id, life in bench.lives.items()
        if read[reed_id]
        and known.lives[reed_id].read >= LEAST_READ
        and not any(cut < one.at <= read[reed_id][-1].at for one in life.handled)
    ]
    if not scored:
        return
    plans = [[_then(bench.lives[reed_id], cut, read[reed_id][-1].at)] for reed_id in scored]
    own = [known.lives[reed_id] for reed_id in scored]
    found = forecasts(own, now=cut, ahead=plans, population=known.population)
    for reed_id, forecast in zip(scored, found, strict=True):
        for quantity in _SCORED:
            last = _last(read[reed_id], quantity)
            if last is not None:
                yield _said(bench, reed_id, forecast, quantity, last, unit)


def _last(read: Sequence[ReedReading], quantity: Scored) -> tuple[datetime, float, float | None] | None:
    for one in reversed(read):
        told = value_of(one, quantity)
        if told is not None:
            return one.at, *told
    return None


def _said(
    bench: Bench,
    reed_id: int,
    forecast: ReedForecast,
    quantity: Scored,
    last: tuple[datetime, float, float | None],
    unit: PressureUnit,
) -> Said:
    at, value, sd = last
    prior, share = PRIORS[quantity], bench.shares[reed_id]
    # A reading scatters by itself about what the reed is.
    scatter = math.hypot(prior.read_sd if sd is None else sd, prior.breath_sd)
    believed = forecast.believed[quantity][1].and_then(0.0, scatter)
    if quantity == "strength":
        foretold = plays_said(share.playing(believed), unit)
        was = pressure_in(value / share.mean, unit)
    else:
        foretold, was = cents_said(believed.foretold()), f"{number(value, 0, signed=True)} cents"
    return Said(
        day=at.isoformat(),
        reed=bench.reeds[reed_id].number,
        what=quantity,
        foretold=foretold,
        read=was,
        place=believed.below(value),
    )


def _then(life: ReedHistory, cut: datetime, at: datetime) -> Ahead:
    """Until a reading, with the minutes that were played by then."""
    return Ahead(
        days=(at - cut).total_seconds() / 86_400.0, minutes=life.minutes_before(at) - life.minutes_before(cut)
    )


def _held(said: tuple[Said, ...]) -> Iterator[str]:
    for what in _SCORED:
        some = [one for one in said if one.what == what]
        if len(some) < _ENOUGH:
            continue
        in_80, in_95 = sum(one.within_80 for one in some), sum(one.within_95 for one in some)
        yield (
            f"{what.capitalize()}: of {len(some)} forecasts {in_80} held what was read within their 80 %"
            f" interval ({number(0.8 * len(some), 0)} should), {in_95} within their 95 % interval."
        )
