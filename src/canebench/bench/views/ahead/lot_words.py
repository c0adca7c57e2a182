"""What is said of a lot, figure by figure. Guarded by `tests/doors/test_worth_command.py`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.pressure import PressureUnit, from_kpa
from canebench.base.uncertain import number
from canebench.reeds.lots.shares import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.bench.views.ahead.lot_fates import ReedFate
    from canebench.reeds.lots.outcome import LotComparison, LotOutcome
    from canebench.store.records import LotRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of a lot: its name, and what is said of it."""

    name: str
    said: str


def figures_said(
    lot: LotRecord, fates: Sequence[ReedFate], outcome: LotOutcome, unit: PressureUnit
) -> tuple[Figure, ...]:
    """Every figure of a lot, in the order in which it is asked for."""
    read = sum(fate.onset_kpa is not None for fate in fates)
    timed = sum(fate.break_in_min is not None for fate in fates)
    return (
        Figure(name="Yield", said=outcome.said),
        Figure(name="Still open", said=_open_said(outcome)),
        Figure(name="Life", said=_life_said(outcome)),
        Figure(name="Spread as new", said=_spread_said(outcome.strength_sd_kpa, read, unit)),
        Figure(name="Breaking in", said=_break_in_said(outcome.break_in_min, timed, outcome.settled)),
        Figure(name="Cost", said=_cost_said(lot, outcome)),
    )


def facts_said(lot: LotRecord) -> str:
    """What is known of a lot itself: how many, when, for how much, of what."""
    parts = [f"{lot.count} {_reeds(lot.count)}"]
    if lot.bought_on:
        parts.append(f"bought {lot.bought_on}")
    if lot.price is not None:
        parts.append(f"{number(lot.price, 2)} {lot.currency or ''}".strip())
    if lot.cane:
        parts.append(f"cane {lot.cane}")
    if lot.cut:
        parts.append(f"cut {lot.cut}")
    return ", ".join(parts) + "."


def _open_said(outcome: LotOutcome) -> str:
    left = outcome.reeds - outcome.known
    return f"{left} of {outcome.reeds} {_reeds(outcome.reeds)}." if left else "No reed."


def _life_said(outcome: LotOutcome) -> str:
    life = outcome.life
    if not life.reeds:
        return "Not known: no minutes of playing are written down."
    played, worn = "was" if life.reeds == 1 else "were", "is" if life.ended == 1 else "are"
    first = f"{life.ended} of {life.reeds} {_reeds(life.reeds)} that {played} played {worn} worn out"
    first += "; the others count as far as they have come."
    if math.isnan(life.median.value):
        return f"{first} How long half of them live cannot be told yet."
    return f"{first} Half live {number(life.median.value, 1)} h of playing ({_span(life.median, 'h')})."


def _spread_said(spread: Interval, read: int, unit: PressureUnit) -> str:
    if math.isnan(spread.value):
        return "Not known: fewer than two reeds were read before they were eased."
    told = _in(spread, unit)
    few = "" if spread.low is not None else " From two that says nothing of the lot."
    value, span = f"{number(told.value, 1)} {unit}", _span(told, str(unit))
    return f"{value} of onset, standard deviation of {read} reeds ({span}).{few}"


def _break_in_said(minutes: Interval, timed: int, settled: int) -> str:
    if math.isnan(minutes.value):
        return "Not known: of no settled reed minutes are written down."
    return (
        f"{number(minutes.value, 0)} min until settled, the middle one of {timed} of {settled} settled "
        f"{_reeds(settled)} ({_span(minutes, 'min', 0)}). Reeds still open may take longer."
    )


def _cost_said(lot: LotRecord, outcome: LotOutcome) -> str:
    if outcome.cost is None:
        return "Not known: the lot has no price."
    if math.isnan(outcome.cost.value):
        return "Not known: no reed has been seen through."
    money = f" {lot.currency}" if lot.currency else ""
    low = outcome.cost.low
    least = "" if low is None else f"at least {number(low, 2)}{money}"
    if math.isinf(outcome.cost.value):
        return f"None has settled; for a settled reed {least}."
    value, span = f"{number(outcome.cost.value, 2)}{money}", _span(outcome.cost, money.strip(), 2)
    return f"{value} for a settled reed ({span})."


def life_beside_said(comparison: LotComparison) -> str:
    """Which of two lots lives longer, where that can be told."""
    life = comparison.life_h
    if math.isnan(life.value):
        return "Which of the two lives longer cannot be told: too few are worn out."
    if life.low is None or life.high is None or life.low <= 0.0 <= life.high:
        return "Which of the two lives longer cannot be told from so few."
    longer = "The first" if life.value > 0.0 else "The second"
    least, most = sorted((abs(life.low), abs(life.high)))
    return f"{longer} lives longer: half of it by {number(least, 1)} to {number(most, 1)} h, 90 % sure."


def _in(kpa: Interval, unit: PressureUnit) -> Interval:
    """An interval of pressures in a band's unit."""
    low, high = (None if end is None else from_kpa(end, unit) for end in (kpa.low, kpa.high))
    return Interval(value=from_kpa(kpa.value, unit), low=low, high=high)


def _span(interval: Interval, unit: str, digits: int = 1) -> str:
    """Between which two it lies, or which end is not known."""
    low, high = (
        None if end is None or not math.isfinite(end) else number(end, digits)
        for end in (interval.low, interval.high)
    )
    after = f" {unit}" if unit else ""
    if low is None and high is None:
        return "too few for an interval"
    if low is None:
        return f"up to {high}{after}"
    return f"{low}{after} or more" if high is None else f"{low} to {high}{after}"


def _reeds(count: int) -> str:
    return "reed" if count == 1 else "reeds"
