"""What a reed will become: strength, low A and tilt ahead, whether it has settled, and what to do with it.

Guarded by `tests/doors/test_forecast_command.py` and `tests/web/test_ahead.py`; figures of the forecasts
themselves in `benchmarks/breaking_in`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError, UnlessInsistedError
from canebench.base.pressure import PressureUnit
from canebench.bench.acts.band import rule_of, unit_of, zone_of
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.views.ahead.histories import bench_around, known_by
from canebench.bench.views.ahead.words import (
    cents_said,
    days_said,
    hertz_said,
    missing,
    plays_said,
    settled_said,
    share_said,
)
from canebench.reeds.forecasts.easing import easing
from canebench.reeds.forecasts.forecast import Ahead, forecasts, habit
from canebench.reeds.forecasts.history import QUANTITIES, ReedHistory, value_of
from canebench.reeds.forecasts.keeping import StrengthRange, advise, new_reed
from canebench.reeds.forecasts.playing import SaidAs
from canebench.reeds.strength import SUITS_KPA
from canebench.store.records import LotRecord, PlayerRecord, ReedRecord

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from canebench.bench.views.ahead.histories import Bench
    from canebench.reeds.forecasts.easing import EasingAdvice
    from canebench.reeds.forecasts.forecast import ReedForecast
    from canebench.reeds.forecasts.history import Quantity
    from canebench.reeds.forecasts.keeping import KeepingAdvice
    from canebench.reeds.forecasts.mixture import Foretold
    from canebench.reeds.forecasts.playing import OnsetShare
    from canebench.reeds.forecasts.settled import SettledRule
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: Days ahead unless others are asked for; further ahead than a season nothing is foretold.
USUAL_DAYS: Final = (3.0, 7.0, 14.0)
MOST_DAYS: Final = 180.0
_NOT_HEARD: Final = "not heard yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One time: in how many days, minutes played by then, and what is foretold, in words and as numbers.

    Playing pressure in kPa; low A in cents above `REFERENCE_HZ`, tilt in cents.
    """

    when: str
    days: float | None
    minutes: float | None
    plays_said: str
    low_a_said: str
    tilt_said: str
    plays_kpa: Foretold
    low_a_cents: Foretold
    tilt_cents: Foretold


@dataclass(frozen=True, slots=True, kw_only=True)
class Foresight:
    """What a reed will become.

    Attributes
    ----------
    reed : ReedRecord
        Which.
    readings, minutes, taught_by : number
        At how many times it was read, minutes played so far, and how many reeds the forecast learns from.
    lines : tuple of Line
        Now, the days asked for, settled.
    past : tuple of (min, kPa)
        Its readings of strength as what it played at, by the minutes that it had been played.
    unit : PressureUnit
        What a band tells pressures in.
    settled : str
        Whether it has settled, and how much playing is left.
    settled_chance : float
        That it has, 0 to 1.
    player : str
        Whom it is for; empty for nobody known.
    advice, pinch : KeepingAdvice, EasingAdvice or None
        Keep, hold or set aside; and whether to pinch. None where nobody's strength is known to hold it
        against.
    pinch_refused : str
        Why no pinch is even spoken of.
    missing : tuple of str
        What is not known, and what it would be good for.
    share_said : str
        How onset and playing pressure are held together here.
    """

    reed: ReedRecord
    readings: int
    minutes: float
    taught_by: int
    lines: tuple[Line, ...]
    past: tuple[tuple[float, float], ...]
    unit: PressureUnit
    settled: str
    settled_chance: float
    player: str
    advice: KeepingAdvice | None
    pinch: EasingAdvice | None
    pinch_refused: str
    missing: tuple[str, ...]
    share_said: str


def reed_foretold(
    ledger: Ledger,
    number_or_id: str | int,
    *,
    days: Sequence[float] = USUAL_DAYS,
    player: str | None = None,
    rule: SettledRule | None = None,
) -> Foresight:
    """What one reed will become, for its player or another.

    Parameters
    ----------
    ledger : Ledger
        Where it stands.
    number_or_id : str or int
        Its number on the binding, or its row.
    days : sequence of float
        How far ahead, 0 to 180 days.
    player : str or None
        For whom; None for whose reed it is.
    rule : SettledRule or None
        When it counts as settled; None as the band has it.
    """
    _check_days(days)
    with ledger.reading() as reader:
        reed = (
            reader.row(ReedRecord, number_or_id)
            if isinstance(number_or_id, int)
            else reed_numbered(reader, number_or_id)
        )
        bench = bench_around(reader, reed.lot_id, [reed.id])
        unit, people = unit_of(reader) or PressureUnit.INH2O, _people(reader, [reed], player)
        rule = rule or rule_of(reader)
        now = ledger.clock().astimezone(zone_of(reader))
    return _foretold(bench, [reed], people, now=now, days=days, unit=unit, rule=rule)[0]


def lot_foretold(
    ledger: Ledger, lot: str, *, days: Sequence[float] = USUAL_DAYS, rule: SettledRule | None = None
) -> list[Foresight]:
    """What the reeds of a lot will become, each for its own player, in the order of their numbers."""
    _check_days(days)
    with ledger.reading() as reader:
        lot_id = named(reader, LotRecord, lot).id
        reeds = reader.rows(ReedRecord, {"lot_id": lot_id}, order="#number")
        bench = bench_around(reader, lot_id, [reed.id for reed in reeds])
        unit, people = unit_of(reader) or PressureUnit.INH2O, _people(reader, reeds, None)
        rule = rule or rule_of(reader)
        now = ledger.clock().astimezone(zone_of(reader))
    return _foretold(bench, reeds, people, now=now, days=days, unit=unit, rule=rule) if reeds else []


def _check_days(days: Iterable[float]) -> None:
    for one in days:
        if not 0.0 <= one <= MOST_DAYS:
            raise InputError(
                field="days ahead",
                given=f"{one:g}",
                allowed=f"0 to {MOST_DAYS:g} days",
                nearest=f"{min(MOST_DAYS, max(0.0, one)):g}" if one == one else "14",  # noqa: PLR0124 - NaN
            )


def _people(
    reader: Reader, reeds: Sequence[ReedRecord], player: str | None
) -> dict[int, PlayerRecord | None]:
    if player is not None:
        person = named(reader, PlayerRecord, player)
        return dict.fromkeys((reed.id for reed in reeds), person)
    known = reader.by_id(PlayerRecord, (reed.player_id for reed in reeds))
    return {reed.id: known.get(reed.player_id) for reed in reeds}


def _foretold(
    bench: Bench,
    reeds: Sequence[ReedRecord],
    people: Mapping[int, PlayerRecord | None],
    *,
    now: datetime,
    days: Sequence[float],
    unit: PressureUnit,
    rule: SettledRule,
) -> list[Foresight]:
    known = known_by(bench, now)
    own = [known.lives[reed.id] for reed in reeds]
    plans = [[_played_by(life, one) for one in days] for life in own]
    population = known.population
    found = forecasts(own, now=now, ahead=plans, population=population, rule=rule)
    # What there is in a reed's stead: one of the same box that nobody has blown.
    boxes = list(dict.fromkeys(_unplayed(life) for life in own))
    new = dict(zip(boxes, forecasts(boxes, now=now, population=population, rule=rule), strict=True))
    return [
        _one(
            bench,
            reed,
            _Told(forecast=forecast, plan=plan, life=life, new=new[_unplayed(life)]),
            people[reed.id],
            now=now,
            unit=unit,
            rule=rule,
            taught_by=len(known.taught_by) - (life.read > 0),
        )
        for reed, forecast, plan, life in zip(reeds, found, plans, own, strict=True)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """Of one reed: its forecast with the plan it was asked for, its life, and a new one's forecast."""

    forecast: ReedForecast
    plan: Sequence[Ahead]
    life: ReedHistory
    new: ReedForecast


def _played_by(life: ReedHistory, days: float) -> Ahead:
    """Played on as it was, or as is usual."""
    session, apart = habit(life)
    return Ahead(days=days, minutes=days / apart * session)


def _unplayed(life: ReedHistory) -> ReedHistory:
    return ReedHistory(number="", lot=life.lot, cut=life.cut, chanter=life.chanter)


def _one(
    bench: Bench,
    reed: ReedRecord,
    told: _Told,
    person: PlayerRecord | None,
    *,
    now: datetime,
    unit: PressureUnit,
    rule: SettledRule,
    taught_by: int,
) -> Foresight:
    share = bench.shares[reed.id]
    forecast = share.unsure(told.forecast) if reed.id in bench.apart else told.forecast
    said = SaidAs.playing(share, unit)
    wanted = None if person is None else _wanted(person, share)
    pinch, refused = None, ""
    if wanted is not None:
        most = None if person is None else person.ceiling_kpa
        ceiling = None if most is None else share.mean * most
        try:
            pinch = easing(told.life, forecast, wanted, now=now, ceiling_kpa=ceiling, said=said)
        except UnlessInsistedError as error:
            refused = str(error)
    return Foresight(
        reed=reed,
        readings=forecast.readings,
        minutes=forecast.minutes,
        taught_by=taught_by,
        lines=_lines(share, forecast, told, unit),
        past=tuple(
            (told.life.minutes_before(one.at), one.strength_kpa / share.mean)
            for one in told.life.readings
            if one.strength_kpa is not None
        ),
        unit=unit,
        settled=settled_said(forecast, rule.sessions),
        settled_chance=forecast.settling.chance,
        player="" if person is None else person.name,
        advice=None
        if wanted is None
        else advise(forecast, wanted, new=new_reed(share.unsure(told.new), wanted), rule=rule, said=said),
        pinch=pinch,
        pinch_refused=refused,
        missing=missing(told.life, person),
        share_said=share_said(share, apart=reed.id in bench.apart),
    )


def _wanted(person: PlayerRecord, share: OnsetShare) -> StrengthRange | None:
    """Onset pressures that suit a player who blows so much, never above the ceiling."""
    if person.blows_kpa is None:
        return None
    low, high = person.blows_kpa - SUITS_KPA, person.blows_kpa + SUITS_KPA
    if person.ceiling_kpa is not None:
        high = min(high, person.ceiling_kpa)
    low = max(min(low, high - SUITS_KPA), 0.1 * high)
    return StrengthRange(low_kpa=share.mean * low, high_kpa=share.mean * high)


def _lines(share: OnsetShare, forecast: ReedForecast, told: _Told, unit: PressureUnit) -> tuple[Line, ...]:
    # Of a pitch that no take has heard it is only known what any reed might do, which tells nobody anything.
    heard = {name: any(value_of(one, name) is not None for one in told.life.readings) for name in QUANTITIES}
    times: list[tuple[str, Ahead | None, Mapping[Quantity, Foretold]]] = [
        ("now", Ahead(days=0.0, minutes=0.0), forecast.now),
        *(
            (f"in {days_said(one.days)}", one, then)
            for one, then in zip(told.plan, forecast.ahead, strict=True)
        ),
        ("settled", None, forecast.settled),
    ]
    found = []
    for when, ahead, then in times:
        plays, low_a, tilt = share.as_playing(then["strength"]), then["low_a"], then["tilt"]
        found.append(
            Line(
                when=when,
                days=None if ahead is None else ahead.days,
                minutes=None if ahead is None else ahead.minutes,
                plays_said=plays_said(plays, unit),
                low_a_said=hertz_said(low_a) if heard["low_a"] else _NOT_HEARD,
                tilt_said=cents_said(tilt) if heard["tilt"] else _NOT_HEARD,
                plays_kpa=plays,
                low_a_cents=low_a,
                tilt_cents=tilt,
            )
        )
    return tuple(found)
