"""Two reeds, or two lots, side by side: the same questions asked of both.

Guarded by `tests/web/test_glance.py`.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import day_said
from canebench.base.errors import InputError
from canebench.base.pressure import PressureUnit, from_kpa
from canebench.base.uncertain import Uncertain, number
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.choose_reeds import pitches_of
from canebench.bench.acts.reeds.strengths import read_strengths
from canebench.bench.views.browse_reed import reed_page, report_of
from canebench.bench.views.browse_reeds import lot_said, strength_said
from canebench.bench.views.drawing.draw_fitting import draw_take
from canebench.fitting.tolerance import TILT_TOLERANCE_CENTS
from canebench.store.records import STATES, LotRecord, ReedRecord, TakeRecord

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.bench.views.drawing.draw_fitting import Drawn
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: So many reeds of a lot are looked at.
_MOST: Final = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two: what it is called, its page, its beam, and an answer to each of the questions."""

    name: str
    address: str
    drawn: Drawn | None
    answers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Questions, and both sides' answers in the same order."""

    questions: tuple[str, ...]
    sides: tuple[Side, Side]


_OF_REEDS: Final = (
    "State", "Lot", "Player", "Plays at", "Height", "Tilt", "Left", "Seat", "Tape", "Pinches", "Played",
    "Last act",
)  # fmt: skip
_OF_LOTS: Final = (
    "As told", "Reeds", "In use", "Settled", "Set aside", "Plays at, middle", "Plays at, from and to",
    "Tilt, middle", "Tilt, from and to", "In balance",
)  # fmt: skip


def compare_reeds(ledger: Ledger, numbers: Sequence[str]) -> Compared:
    """Two reeds by their numbers."""
    one, other = _two(numbers, "reeds")
    return Compared(
        questions=_OF_REEDS, sides=(_reed_side(ledger, one, "one"), _reed_side(ledger, other, "other"))
    )


def compare_lots(ledger: Ledger, names: Sequence[str]) -> Compared:
    """Two lots by their names."""
    one, other = _two(names, "lots")
    with ledger.reading() as reader:
        return Compared(questions=_OF_LOTS, sides=(_lot_side(reader, one), _lot_side(reader, other)))


def _two(names: Sequence[str], what: str) -> tuple[str, str]:
    if len(names) != 2 or names[0] == names[1]:
        raise InputError(
            field=what,
            given=f"{len(set(names))}",
            allowed="two are compared",
            nearest="a tick at two of them",
        )
    return names[0], names[1]


def _reed_side(ledger: Ledger, given: str, prefix: str) -> Side:
    with ledger.reading() as reader:
        reed = reed_numbered(reader, given)
        strengths = read_strengths(reader, [reed.id])
        unit, zone = unit_of(reader), zone_of(reader)
    page = reed_page(ledger, reed.id)
    verdict, last = page.verdict, page.story[0] if page.story else None
    return Side(
        name=f"Reed {reed.number}",
        address=f"/reeds/{reed.id}",
        drawn=None
        if page.report is None
        else draw_take(page.report, title=f"The beam of reed {reed.number}", prefix=prefix, bare=True),
        answers=(
            reed.state + (f": {reed.state_reason}" if reed.state_reason else ""),
            "" if page.known.lot is None else page.known.lot.name,
            "" if page.player is None else page.player.name,
            strength_said(strengths, reed.id, unit),
            "" if verdict is None else verdict.height,
            "" if verdict is None else verdict.tilt,
            "" if verdict is None else verdict.left,
            page.seat,
            page.tape,
            page.known.eases_said,
            f"{page.minutes} min",
            "" if last is None else f"{day_said(last.at, zone)}: {last.said}",
        ),
    )


def _lot_side(reader: Reader, given: str) -> Side:
    lot = named(reader, LotRecord, given)
    reeds = reader.rows(ReedRecord, {"lot_id": lot.id}, limit=_MOST)
    ids = [reed.id for reed in reeds]
    strengths = read_strengths(reader, ids)
    known = [one.kpa.value for reed_id in ids if (one := strengths.known(reed_id)) is not None]
    takes = reader.newest_of_many(TakeRecord, "reed_id", ids, order="at")
    pitches = pitches_of(reader, takes)
    reports = [report_of(take, pitches[take.id]) for take in takes]
    tilts = [one.balance.tilt_cents for one in reports if one is not None and one.balance is not None]
    states = {state: sum(reed.state == state for reed in reeds) for state in STATES}
    gone = states["set aside"] + states["retired"]
    unit = unit_of(reader) or PressureUnit.INH2O
    middle, span = _spread([from_kpa(kpa, unit) for kpa in known], unit, signed=False)
    tilt, tilt_span = _spread([one.value for one in tilts], "cents", signed=True)
    return Side(
        name=f"Lot {lot.name}",
        address="/reeds",
        drawn=None,
        answers=(
            lot_said(lot),
            f"{len(reeds)} of {lot.count} taken in",
            f"{len(reeds) - gone}",
            f"{states['settled']}",
            f"{states['set aside']}",
            middle,
            span,
            tilt,
            tilt_span,
            _in_balance(tilts),
        ),
    )


def _spread(values: Sequence[float], unit: str, *, signed: bool) -> tuple[str, str]:
    """The middle one of some figures with how many there are, and the least and greatest."""
    if not values:
        return "not known yet", ""
    middle, low, high = (
        number(one, 1, signed=signed) for one in (statistics.median(values), min(values), max(values))
    )
    return f"{middle} {unit}, of {len(values)} known", f"{low} to {high} {unit}"


def _in_balance(tilts: Sequence[Uncertain]) -> str:
    fine = sum(abs(one.value) <= TILT_TOLERANCE_CENTS for one in tilts)
    return f"{fine} of {len(tilts)} heard" if tilts else "none heard yet"
