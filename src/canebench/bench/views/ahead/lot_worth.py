"""What a lot was worth: yield, life, spread, minutes and cost, beside another, and what to order.

Guarded by `tests/doors/test_worth_command.py` and `tests/web/test_lot_worth.py`; the figures themselves by
the tests that `docs/theory/lots.md` names.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

from canebench.base.errors import InputError
from canebench.base.parsing import moment_from
from canebench.base.pressure import PressureUnit
from canebench.base.uncertain import number
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.acts.ledger import named
from canebench.bench.views.ahead.lot_fates import SETTLED, fates_of
from canebench.bench.views.ahead.lot_words import figures_said, life_beside_said
from canebench.reeds.lots.outcome import lot_comparison, lot_outcome
from canebench.reeds.lots.reorder import reorder
from canebench.store.records import LotRecord, ReedRecord

if TYPE_CHECKING:
    from canebench.bench.views.ahead.lot_fates import ReedFate
    from canebench.bench.views.ahead.lot_words import Figure
    from canebench.reeds.lots.outcome import LotComparison, LotOutcome
    from canebench.reeds.lots.reorder import Reorder
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: How sure it shall be that enough settle, as in the plan of breaking in.
SURE: Final = 0.8
#: From an order to the box, days, unless told: an estimate of ours.
POST_DAYS: Final = 14
MOST_NEEDED: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """How one lot turned out.

    Attributes
    ----------
    lot : LotRecord
        Which.
    fates : list of ReedFate
        Each reed, by number.
    outcome : LotOutcome
        The figures; pressures are onset as new, kPa, lives hours.
    figures : tuple of Figure
        The same in words.
    """

    lot: LotRecord
    fates: list[ReedFate]
    outcome: LotOutcome
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What to order, and what it rests on.

    `in_stock` are the settled and spare reeds of the whole bench, `days_ahead` from the order to a settled
    reed; None where the lot does not tell how long that takes.
    """

    needed: int
    by: date | None
    in_stock: int
    days_ahead: int | None
    order: Reorder
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotWorth:
    """A lot, perhaps another beside it, and perhaps what to order."""

    worth: Worth
    against: Worth | None
    comparison: LotComparison | None
    beside: tuple[str, ...]
    proposal: Proposal | None


def lot_worth(
    ledger: Ledger,
    lot: str | int,
    *,
    against: str | None = None,
    needed: int | None = None,
    by: str | None = None,
    post_days: int = POST_DAYS,
) -> LotWorth:
    """How a lot turned out, by its name or row.

    Parameters
    ----------
    ledger : Ledger
        Where it stands.
    lot : str or int
        Its name, or its row.
    against : str or None
        Another lot by name, to stand beside it.
    needed : int or None
        Settled reeds that will be needed, 1 to 500: what to order is said then.
    by : str or None
        By when, a date like 2026-09-01; only with `needed`.
    post_days : int
        From an order to the box, 0 to 365.

    Raises
    ------
    InputError
        A lot against itself, a need or a date that is none.
    NotFoundError
        There is no such lot.
    """
    needed_on = None
    if by is not None and by.strip():
        needed_on = moment_from(date.fromisoformat, by, "day", allowed="a date like 2026-09-01 is needed")
    _check_need(needed, needed_on, post_days)
    with ledger.reading() as reader:
        record = reader.row(LotRecord, lot) if isinstance(lot, int) else named(reader, LotRecord, lot)
        other = None if against is None else named(reader, LotRecord, against)
        if other is not None and other.id == record.id:
            raise InputError(
                field="lot beside it", given=f"{other.name} twice", allowed="two lots are compared"
            )
        unit = unit_of(reader) or PressureUnit.INH2O
        worth = _worth(reader, record, unit)
        beside = None if other is None else _worth(reader, other, unit)
        counted = reader.counts(ReedRecord, "state")
        stock = sum(counted.get(state.value, 0) for state in SETTLED)
        today = ledger.clock().astimezone(zone_of(reader)).date()
    comparison = (
        None
        if beside is None
        else lot_comparison(
            *((one.lot.name, [fate.counted for fate in one.fates]) for one in (worth, beside))
        )
    )
    return LotWorth(
        worth=worth,
        against=beside,
        comparison=comparison,
        beside=() if comparison is None else (comparison.said, life_beside_said(comparison)),
        proposal=None
        if needed is None
        else _proposal(worth, needed, needed_on, stock=stock, post_days=post_days, today=today),
    )


def _check_need(needed: int | None, by: date | None, post_days: int) -> None:
    if needed is None and by is not None:
        raise InputError(
            field="settled reeds needed",
            given="nothing",
            allowed="a day alone says nothing: how many are needed",
        )
    if needed is not None and not 1 <= needed <= MOST_NEEDED:
        near = min(MOST_NEEDED, max(1, needed))
        raise InputError(
            field="settled reeds needed",
            given=f"{needed}",
            allowed=f"from 1 to {MOST_NEEDED}",
            nearest=f"{near}",
        )
    if not 0 <= post_days <= 365:
        raise InputError(
            field="days of the post",
            given=f"{post_days}",
            allowed="from 0 to 365",
            nearest=f"{min(365, max(0, post_days))}",
        )


def _worth(reader: Reader, lot: LotRecord, unit: PressureUnit) -> Worth:
    fates = fates_of(reader, lot.id)
    price = None if lot.price is None else lot.price / lot.count
    outcome = lot_outcome(lot.name, [fate.counted for fate in fates], price_each=price)
    return Worth(lot=lot, fates=fates, outcome=outcome, figures=figures_said(lot, fates, outcome, unit))


def _proposal(
    worth: Worth, needed: int, by: date | None, *, stock: int, post_days: int, today: date
) -> Proposal:
    took = sorted(fate.days for fate in worth.fates if fate.days is not None)
    # Four in five of those that settled had done so by then.
    slow = math.ceil(took[math.ceil(SURE * len(took)) - 1]) if took else None
    ahead = None if slow is None else slow + post_days
    found = reorder(
        needed,
        in_stock=stock,
        settled=worth.outcome.settled,
        of=worth.outcome.known,
        sure=SURE,
        needed_on=by,
        days_ahead=ahead,
    )
    said = [
        found.said,
        f"Settled or spare on the whole bench now: {stock}; how many wear out by then is not counted.",
    ]
    if stock < needed:
        said += _lacking(worth, found, by, slow=slow, post_days=post_days, today=today)
    return Proposal(needed=needed, by=by, in_stock=stock, days_ahead=ahead, order=found, said=tuple(said))


def _lacking(
    worth: Worth, found: Reorder, by: date | None, *, slow: int | None, post_days: int, today: date
) -> list[str]:
    said = []
    # Where all settled or none did, the chance would be a certainty that no lot gives.
    if found.reeds is not None and 0 < worth.outcome.settled < worth.outcome.known:
        chance = f"{number(100.0 * found.chance, 0)} times in a hundred"
        said.append(f"If the next lot is like this one, enough of {found.reeds} settle {chance}.")
    left = worth.outcome.reeds - worth.outcome.known
    if left:
        said.append(f"{left} of this lot {'is' if left == 1 else 'are'} still open, and not counted.")
    if by is None:
        return said
    if slow is None:
        said.append(
            "When to order cannot be told: no reed of this lot has been seen from its first day to settled."
        )
    elif found.order_by is not None:
        said.append(
            f"Counted are {post_days} days from the order to the box, and {slow} days in which four in five "
            "of those that settled had."
        )
        if found.order_by < today:
            late = by + (today - found.order_by)
            said.append(f"That day is past: ordered today they are settled by {late.isoformat()}.")
    return said
