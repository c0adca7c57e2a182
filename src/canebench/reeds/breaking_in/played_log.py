"""A log of sessions as people write it: what cannot have been is an error by its field, with what was meant.

Guarded by `tests/faults/test_bad_plans.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from canebench.base.clock.local_time import check_zone, zone_named
from canebench.base.clock.typed_time import on_clock
from canebench.base.errors import InputError
from canebench.base.parsing import check_name
from canebench.base.sizes import MINUS, Range

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

_TOTAL = Range(low=0.0, high=60000.0, usual=300.0, unit="min", slips=(MINUS, (60.0, "if that was hours")))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedTotal:
    """Minutes that a reed had been played in all, `total_min`, `at` the end of a session.

    Raises
    ------
    InputError
        A time without a zone, minutes that are none.
    """

    reed: str
    at: datetime
    total_min: float

    def __post_init__(self) -> None:
        check_name("reed", self.reed)
        check_zone(f"time of reed {self.reed}", self.at)
        _TOTAL.check(f"minutes of reed {self.reed}", self.total_min)


def check_played(log: Sequence[PlayedTotal], *, now: datetime) -> None:
    """An error where a log tells what cannot have been.

    Parameters
    ----------
    log : sequence of PlayedTotal
        In any order, of any reeds.
    now : datetime
        With its zone.

    Raises
    ------
    InputError
        Totals that run back, more minutes between two times than there are, two totals at one time, or a
        time to come; with the nearest that may be. Hours are true hours, also where clocks change.
    """
    check_zone("now", now)
    by_reed: dict[str, list[PlayedTotal]] = {}
    for one in log:
        by_reed.setdefault(one.reed, []).append(one)
    for reed, own in by_reed.items():
        ordered = sorted(own, key=lambda one: one.at.astimezone(UTC))
        for before, after in pairwise(ordered):
            _check_pair(reed, before, after)
        if ordered[-1].at > now:
            raise InputError(
                field=f"time of reed {reed}",
                given=ordered[-1].at.isoformat(),
                allowed="a session lies before now",
                nearest=now.astimezone(ordered[-1].at.tzinfo).isoformat(timespec="minutes"),
            )


def _check_pair(reed: str, before: PlayedTotal, after: PlayedTotal) -> None:
    passed = (after.at.astimezone(UTC) - before.at.astimezone(UTC)) / timedelta(minutes=1)
    played = after.total_min - before.total_min
    field = f"minutes of reed {reed}"
    if played < 0.0:
        raise InputError(
            field=field,
            given=f"{after.total_min:g} min in all after {before.total_min:g} min in all",
            allowed="what a reed has been played in all never grows less",
            nearest=f"{before.total_min + after.total_min:g} min, if that was the session alone",
        )
    if passed == 0.0 and played > 0.0:
        raise InputError(
            field=field,
            given=f"{before.total_min:g} and {after.total_min:g} min at {after.at.isoformat()}",
            allowed="one total at one time: are these two reeds under one number?",
            nearest=f"another number for one of them, or {after.total_min:g} min for both",
        )
    if played > passed:
        raise InputError(
            field=field,
            given=f"{played:g} min more within {passed:g} min",
            allowed="no more than the time that went by, in true hours",
            nearest=f"{before.total_min + passed:g} min in all",
        )


def check_local(zone: str, at: datetime) -> datetime:
    """A time on the clock of a zone, once and for all.

    Parameters
    ----------
    zone : str
        As in "Europe/Dublin".
    at : datetime
        On the clock, without a zone; `fold` 1 for the second of two.

    Returns
    -------
    datetime
        With the zone.

    Raises
    ------
    InputError
        That time was skipped where the clocks went forward; with the one an hour on.
    """
    known = zone_named(zone)
    if at.tzinfo is not None:
        raise InputError(
            field="time on the clock",
            given=at.isoformat(),
            allowed=f"without a zone of its own: it is one in {zone}",
            nearest=at.replace(tzinfo=None).isoformat(timespec="minutes"),
        )
    return on_clock(at, known, field="time on the clock", once=False)
