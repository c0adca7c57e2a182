"""Reeds' lives as the forecasts want them, from rows of the ledger.

Guarded by `tests/doors/test_forecast_command.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from canebench.base.notes import LOW_A
from canebench.base.units import hz_step_to_cents, hz_to_cents
from canebench.bench.acts.reeds.rows_by_reed import rows_by_reed
from canebench.bench.views.kept_take import kept_octave, kept_posts
from canebench.reeds.forecasts.history import (
    Handling,
    MouthReading,
    PlayedSpell,
    ReedHistory,
    ReedReading,
)
from canebench.reeds.forecasts.learning.pooling import Population, learnt_from
from canebench.reeds.forecasts.playing import OnsetShare, onset_share
from canebench.reeds.strength import READ_KPA
from canebench.store.records import (
    ChanterRecord,
    EaseRecord,
    LotRecord,
    PlayRecord,
    ReedRecord,
    SettingRecord,
    StrengthRecord,
    TakeRecord,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from canebench.bench.views.kept_take import KeptPost
    from canebench.store.reader import Reader

    OfReed = EaseRecord | PlayRecord | SettingRecord | StrengthRecord | TakeRecord

#: Low A is told against this, Hz, whatever the drones did: one reference for all readings.
REFERENCE_HZ: Final = 470.0
#: So many reeds teach each other: those of the lot first. More would take longer than anyone waits.
_LOT: Final = 30
MOST_REEDS: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The reeds that teach each other, each one's life, and what share of its playing pressure its onset is.

    `apart` holds those that were read at their onset, or never: what they play at is known by that share.
    """

    reeds: Mapping[int, ReedRecord]
    lives: Mapping[int, ReedHistory]
    shares: Mapping[int, OnsetShare]
    apart: frozenset[int]


def bench_around(reader: Reader, lot_id: int | None, ids: Sequence[int] = ()) -> Bench:
    """The lives of these reeds, of their lot's, and of others whose state changed last."""
    found = reader.by_id(ReedRecord, ids)
    if lot_id is not None:
        found |= _by_id(reader.rows(ReedRecord, {"lot_id": lot_id}, order="-state_since", limit=_LOT))
    for reed_id, reed in _by_id(reader.rows(ReedRecord, order="-state_since", limit=MOST_REEDS)).items():
        if len(found) < max(MOST_REEDS, len(ids)):
            found.setdefault(reed_id, reed)
    return _bench(reader, {reed_id: reed for reed_id, reed in found.items() if reed_id is not None})


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """The lives of a bench as far as they were known at one time, and those of them that teach the others."""

    lives: Mapping[int, ReedHistory]
    taught_by: tuple[ReedHistory, ...]

    @property
    def population(self) -> Population:
        """What they teach."""
        return _learnt(self.taught_by)


def known_by(bench: Bench, then: datetime) -> Known:
    """What was known then; what is dated later than now is a slip, or somebody's wrong clock."""
    lives = {reed_id: until(life, then) for reed_id, life in bench.lives.items()}
    return Known(lives=lives, taught_by=tuple(life for life in lives.values() if life.read))


@lru_cache(maxsize=16)
def _learnt(lives: tuple[ReedHistory, ...]) -> Population:
    """The same lives teach the same, so it is kept, for as many lots as are looked at in turn.

    What a lot's teach takes longer than a page may.
    """
    return learnt_from(lives)


def until(life: ReedHistory, then: datetime) -> ReedHistory:
    """A life as far as it was known then."""
    return replace(
        life,
        played=tuple(one for one in life.played if one.at <= then),
        readings=tuple(one for one in life.readings if one.at <= then),
        by_mouth=tuple(one for one in life.by_mouth if one.at <= then),
        handled=tuple(one for one in life.handled if one.at <= then),
    )


def _by_id(reeds: Iterable[ReedRecord]) -> dict[int | None, ReedRecord]:
    return {reed.id: reed for reed in reeds}


def _bench(reader: Reader, reeds: Mapping[int, ReedRecord]) -> Bench:
    ids = list(reeds)
    strengths = rows_by_reed(reader, StrengthRecord, ids)
    than = {row.than_reed_id for rows in strengths.values() for row in rows} - {None}
    others = rows_by_reed(reader, StrengthRecord, [one for one in than if one is not None])
    both = {reed_id: both_read(rows) for reed_id, rows in strengths.items()}
    share = onset_share(pair for pairs in both.values() for pair in pairs)
    shares = {reed_id: share.of_reed(pairs) for reed_id, pairs in both.items()}
    takes, plays = rows_by_reed(reader, TakeRecord, ids), rows_by_reed(reader, PlayRecord, ids)
    eases, settings = rows_by_reed(reader, EaseRecord, ids), rows_by_reed(reader, SettingRecord, ids)
    posts = kept_posts(reader, [take for rows in takes.values() for take in rows])
    lots = reader.by_id(LotRecord, (reed.lot_id for reed in reeds.values()))
    chanters = reader.by_id(ChanterRecord, (row.chanter_id for rows in takes.values() for row in rows))
    lives = {}
    for reed_id, reed in reeds.items():
        lot, chanter = lots.get(reed.lot_id), chanters.get(_last_chanter(takes[reed_id]))
        lives[reed_id] = ReedHistory(
            number=reed.number,
            lot=None if lot is None else lot.name,
            cut=None if lot is None else lot.cut,
            chanter=None if chanter is None else chanter.name,
            played=tuple(
                PlayedSpell(at=_at(row), minutes=row.minutes) for row in plays[reed_id] if row.minutes > 0.0
            ),
            readings=(
                *_strengths(strengths[reed_id], shares[reed_id]),
                *(_pitch(take, posts[take.id]) for take in takes[reed_id]),
            ),
            by_mouth=tuple(_by_mouth(strengths[reed_id], others, share)),
            handled=(
                *(_eased(row) for row in eases[reed_id]),
                # How it sat first is where it begins; what follows moves it.
                *(Handling(at=_at(row), what="set") for row in settings[reed_id][1:]),
            ),
        )
    apart = frozenset(
        reed_id
        for reed_id, rows in strengths.items()
        if any(row.onset_kpa is not None for row in rows) or not any(row.playing_kpa for row in rows)
    )
    return Bench(reeds=reeds, lives=lives, shares=shares, apart=apart)


def both_read(rows: Iterable[StrengthRecord]) -> list[tuple[float, float]]:
    """Onset and playing pressure of readings that have both."""
    return [(row.onset_kpa, row.playing_kpa) for row in rows if row.onset_kpa is not None and row.playing_kpa]


def _at(row: OfReed) -> datetime:
    return datetime.fromisoformat(row.at)


def _eased(row: EaseRecord) -> Handling:
    return Handling(at=_at(row), what="pinch" if row.how == "pinch" else "set")


def _last_chanter(takes: Sequence[TakeRecord]) -> int | None:
    return next((take.chanter_id for take in reversed(takes) if take.chanter_id is not None), None)


def _onset(row: StrengthRecord, share: OnsetShare) -> tuple[float, float] | None:
    """Onset and how well it was read, kPa: as read, or by the share from what it played at."""
    if row.onset_kpa is not None:
        return row.onset_kpa, row.onset_sd_kpa or READ_KPA
    if row.playing_kpa is not None:
        return share.mean * row.playing_kpa, share.mean * (row.playing_sd_kpa or READ_KPA)
    return None


def _strengths(rows: Iterable[StrengthRecord], share: OnsetShare) -> Iterable[ReedReading]:
    for row in rows:
        told = _onset(row, share)
        if told is not None:
            yield ReedReading(at=_at(row), strength_kpa=told[0], strength_sd_kpa=told[1])


def _by_mouth(
    rows: Sequence[StrengthRecord], others: Mapping[int, Sequence[StrengthRecord]], share: OnsetShare
) -> Iterable[MouthReading]:
    """Against reeds whose strength was known by then; what nobody had measured tells nothing."""
    for row in rows:
        if row.by_mouth is None or row.than_reed_id is None:
            continue
        known = [_onset(one, share) for one in others.get(row.than_reed_id, ()) if one.at <= row.at]
        last = next((one for one in reversed(known) if one is not None), None)
        if last is not None:
            yield MouthReading(at=_at(row), words=row.by_mouth, than_kpa=last[0], than_sd_kpa=last[1])


def _pitch(take: TakeRecord, posts: Sequence[KeptPost]) -> ReedReading:
    low_a = next((row for row in posts if row.note == LOW_A), None)
    tilt, tilt_sd = kept_octave(take, posts) or (None, None)
    sd_hz = None if low_a is None else low_a.sd_hz
    return ReedReading(
        at=_at(take),
        low_a_cents=None if low_a is None else hz_to_cents(low_a.hz, REFERENCE_HZ),
        low_a_sd_cents=None if low_a is None or sd_hz is None else hz_step_to_cents(sd_hz, low_a.hz),
        tilt_cents=tilt,
        # Played once, how well it is known is not known either.
        tilt_sd_cents=None if tilt_sd is None or math.isinf(tilt_sd) else tilt_sd,
        warm_min=take.warm_min,
        room_degc=take.room_degc,
        room_rh=take.room_rh,
    )
