"""What needs somebody today, from the ledger: what was begun, rests no more, is to be played or checked.

Guarded by `tests/doors/test_today.py` and `tests/web/test_home.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import day_said
from canebench.bench.acts.band import zone_of
from canebench.bench.acts.fitting.begin_fitting import recent_fittings
from canebench.bench.views.home.break_in_due import break_in_due
from canebench.bench.views.home.needs import Need
from canebench.reeds import eases
from canebench.reeds.states import IN_WORK, NOT_OFFERED, State
from canebench.store.records import (
    EaseRecord,
    LotRecord,
    MouthTestRecord,
    PlayRecord,
    ReedRecord,
    StrengthRecord,
    TakeRecord,
)
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import tzinfo

    from canebench.bench.acts.fitting.begin_fitting import Recent
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: A rest that ended longer ago is no news, days.
_NEWS_DAYS: Final = 14
#: So many of the newest rows are looked through.
_LOOKED_AT: Final = 200
#: So many of the fittings before the last one are named.
_BEFORE: Final = 4
#: In these a fitting goes on; what is played in, settled or spare has ended it.
_FITTED_STILL: Final = (State.NEW, State.ON_TRIAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Today:
    """`going` is the fitting worked on last, `recent` those before it that need nothing.

    `empty` is a ledger that nothing was kept in yet.
    """

    going: Recent | None
    recent: list[Recent]
    needs: list[Need]
    empty: bool


def today(ledger: Ledger) -> Today:
    """As the ledger stands now, the most pressing first."""
    recent = recent_fittings(ledger)
    going = next((one for one in recent if one.reed.state not in NOT_OFFERED), None)
    now = ledger.clock()
    with ledger.reading() as reader:
        zone = zone_of(reader)
        needs = [
            *_not_checked(reader, zone),
            *_rested(reader, now, zone),
            *_begun(recent, going, zone),
            *break_in_due(reader, now, zone),
            *_pinched_out(reader),
        ]
        empty = not (recent or reader.count(ReedRecord) or reader.count(LotRecord))
    told = {(need.reed.id, need.chanter_id) for need in needs}
    others = [one for one in recent if one != going and (one.reed.id, one.chanter.id) not in told]
    return Today(going=going, recent=others[:_BEFORE], needs=needs, empty=empty)


def _begun(recent: Iterable[Recent], going: Recent | None, zone: tzinfo | None) -> list[Need]:
    """Fittings that were begun and not ended, but for the one worked on last, which stands above all."""
    return [
        Need(
            kind="begun",
            reed=one.reed,
            chanter_id=one.chanter.id,
            chanter=one.chanter.name,
            why=f"begun, last take {day_said(one.at, zone)}, and not ended: still {one.reed.state}",
        )
        for one in recent
        if one != going and one.reed.state in _FITTED_STILL
    ]


def _not_checked(reader: Reader, zone: tzinfo | None) -> list[Need]:
    """Reeds that were eased after their newest take: nobody knows yet what that did."""
    last: dict[int, EaseRecord] = {}
    for ease in reader.rows(EaseRecord, order="-at", limit=_LOOKED_AT):
        last.setdefault(ease.reed_id, ease)
    takes = reader.newest_of_many(TakeRecord, "reed_id", list(last), order="at")
    heard = {take.reed_id: take for take in takes if take.chanter_id is not None}
    reeds = reader.by_id(ReedRecord, heard)
    return [
        Need(
            kind="not checked",
            reed=reeds[reed_id],
            chanter_id=heard[reed_id].chanter_id,
            why=f"{_eased(ease)} on {day_said(ease.at, zone)} and not played since: a take tells what it did",
        )
        for reed_id, ease in last.items()
        if reed_id in heard
        and ease.at > heard[reed_id].at
        and reed_id in reeds
        and reeds[reed_id].state not in NOT_OFFERED
    ]


def _eased(ease: EaseRecord) -> str:
    return "pinched" if ease.how == "pinch" else "eased"


def _rested(reader: Reader, now: datetime, zone: tzinfo | None) -> list[Need]:
    """Reeds whose rest is over, and that nobody has blown since."""
    until: dict[int, str] = {}
    for test in reader.rows(MouthTestRecord, order="-rests_until", limit=_LOOKED_AT):
        until.setdefault(test.reed_id, test.rests_until)
    since = written(now - timedelta(days=_NEWS_DAYS))
    over = {reed: end for reed, end in until.items() if since < end <= written(now)}
    ids = list(over)
    blown: tuple[type[TakeRecord | StrengthRecord | PlayRecord], ...] = (
        TakeRecord,
        StrengthRecord,
        PlayRecord,
    )
    for kind in blown:
        for row in reader.newest_of_many(kind, "reed_id", ids, order="at"):
            if row.reed_id is not None and row.at > over[row.reed_id]:
                over[row.reed_id] = ""
    reeds = reader.by_id(ReedRecord, ids)
    return [
        Need(
            kind="rested",
            reed=reeds[reed],
            why=f"its rest ended on {day_said(end, zone)}: another mouth may have it",
        )
        for reed, end in over.items()
        if end and reed in reeds and reeds[reed].state not in NOT_OFFERED
    ]


def _pinched_out(reader: Reader) -> list[Need]:
    """Reeds still being set up that no pinch is left for."""
    counted = reader.counts(EaseRecord, "reed_id", {"how": "pinch"}, least=eases.MOST)
    spent = [int(reed) for reed in counted if reed is not None]
    return [
        Need(
            kind="pinched out",
            reed=reed,
            why="no pinch is left in its life: play it in, or set it aside",
        )
        for reed in reader.by_id(ReedRecord, spent).values()
        if reed.state in IN_WORK
    ]
