"""Who plays which settled reed, which spare lies ready, and who lacks one, from the ledger.

Guarded by `tests/doors/test_spares_command.py` and `tests/web/test_spares.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from canebench.base.clock.local_time import day_said
from canebench.base.pressure import PressureUnit, pressure_in
from canebench.bench.acts.band import unit_of, zone_of
from canebench.bench.acts.ledger import named
from canebench.bench.acts.reeds.mouths import mouth_tests
from canebench.bench.acts.reeds.strengths import strengths_now
from canebench.bench.views.ahead.lot_fates import SETTLED
from canebench.care.quarantine import rest_said, standing
from canebench.reeds.lots.spares import USUAL_EACH, PlayerToSupply, SettledReed, Supply, supplies
from canebench.reeds.states import State
from canebench.store.records import PlayerRecord, PlayRecord, ReedRecord

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime, tzinfo

    from canebench.care.quarantine import MouthTest
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: So many players are looked at, by their names; a band has fewer.
MOST_PLAYERS: Final = 100


class SettledRow(NamedTuple):
    """What is read of each settled reed: a bench may have thousands, and all are weighed."""

    id: int
    number: str
    player_id: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadyReed:
    """A reed that suits a player as it is.

    `last` is the day it was played last ("" for never), `next` whether it is the one to play next, `rests`
    until when it rests from whose mouth, "" where it does not.
    """

    reed: SettledRow
    plays: str
    own: bool
    last: str
    next: bool
    rests: str

    @property
    def said(self) -> str:
        """What is known of it, as a clause."""
        whose = "their own" if self.own else "nobody’s yet"
        played = f"last played {self.last}" if self.last else "no playing written down"
        told = [f"plays at {self.plays}", whose, played]
        return ", ".join([*told, self.rests] if self.rests else told)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerSupply:
    """A player's reeds, the best match first; how many are lacking, and how many of theirs are broken in."""

    player: PlayerRecord
    blows: str
    ready: tuple[ReadyReed, ...]
    lacking: int
    coming: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Spares:
    """The bench's settled reeds, matched.

    Attributes
    ----------
    players : tuple of PlayerSupply
        Those whose strength is told, by name.
    each : int
        How many reeds each should have.
    untold : tuple of str
        Players whose strength is not told.
    unread : tuple of SettledRow
        Settled and spare reeds that were not read, or not since they were eased.
    free : tuple of SettledRow
        Those that were matched to nobody.
    said : tuple of str
        What is lacking and what to do.
    """

    players: tuple[PlayerSupply, ...]
    each: int
    untold: tuple[str, ...]
    unread: tuple[SettledRow, ...]
    free: tuple[SettledRow, ...]
    said: tuple[str, ...]

    @property
    def lacking(self) -> int:
        """Of all players together."""
        return _lacking(self.players)


def _lacking(players: Sequence[PlayerSupply]) -> int:
    return sum(one.lacking for one in players)


def spares(ledger: Ledger, *, each: int = USUAL_EACH, players: Sequence[str] = ()) -> Spares:
    """Match what is settled or spare to the players named, or to the first hundred by name."""
    with ledger.reading() as reader:
        zone, unit = zone_of(reader), unit_of(reader) or PressureUnit.INH2O
        now = ledger.clock().astimezone(zone)
        people = _people(reader, players)
        reeds = [
            SettledRow._make(reed)
            for state in SETTLED
            for reed in reader.columns(ReedRecord, SettledRow._fields, {"state": state.value})
        ]
        known, _ = strengths_now(reader, [reed.id for reed in reeds])
        owners = dict(reader.columns(PlayerRecord, ("id", "name")))
        read = {reed.number: reed for reed in reeds if reed.id in known and known[reed.id].before is None}
        found = supplies(
            [
                PlayerToSupply(name=one.name, blows_kpa=one.blows_kpa, ceiling_kpa=one.ceiling_kpa)
                for one in people
                if one.blows_kpa is not None
            ],
            [
                SettledReed(
                    number=reed.number,
                    playing_kpa=known[reed.id].kpa.value,
                    owner=owners.get(reed.player_id, ""),
                )
                for reed in read.values()
            ],
            each=each,
        )
        given = [read[one.number] for supply in found for one in supply.reeds]
        mouths = mouth_tests(reader, {reed.id: reed.number for reed in given})
        last = {
            play.reed_id: play.at
            for play in reader.newest_of_many(PlayRecord, "reed_id", [reed.id for reed in given], order="at")
        }
        coming = reader.counts(ReedRecord, "player_id", {"state": State.BREAKING_IN.value})
    words = _Words(unit=unit, zone=zone, now=now, mouths=mouths, last=last)
    told = {one.name: one for one in people}
    matched = tuple(
        PlayerSupply(
            player=told[supply.player],
            blows=pressure_in(told[supply.player].blows_kpa or 0.0, unit),
            ready=words.ready(supply, read),
            lacking=supply.lacking,
            coming=coming.get(told[supply.player].id, 0),
        )
        for supply in found
    )
    taken = {reed.id for reed in given}
    unread = tuple(reed for reed in reeds if reed.number not in read)
    return Spares(
        players=matched,
        each=each,
        untold=tuple(one.name for one in people if one.blows_kpa is None),
        unread=unread,
        free=tuple(reed for reed in read.values() if reed.id not in taken),
        said=_said(matched, unread),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    unit: PressureUnit
    zone: tzinfo | None
    now: datetime
    mouths: Mapping[int, list[MouthTest]]
    last: Mapping[int, str]

    def ready(self, supply: Supply, read: Mapping[str, SettledRow]) -> tuple[ReadyReed, ...]:
        """Next is what has lain longest of those that do not rest: so that all of them stay playable."""
        rests = {one.number: self._rests(read[one.number], supply.player) for one in supply.reeds}
        rested = [read[one.number] for one in supply.reeds if not rests[one.number]]
        first = min(rested, key=lambda reed: self.last.get(reed.id, ""), default=None)
        return tuple(
            ReadyReed(
                reed=read[one.number],
                plays=pressure_in(one.playing_kpa, self.unit),
                own=bool(one.owner),
                last=self._day(read[one.number]),
                next=first is not None and first.number == one.number,
                rests=rests[one.number],
            )
            for one in supply.reeds
        )

    def _rests(self, reed: SettledRow, player: str) -> str:
        tests = self.mouths.get(reed.id, [])
        return rest_said(standing(tests, reed=reed.number, player=player, now=self.now)) if tests else ""

    def _day(self, reed: SettledRow) -> str:
        return day_said(self.last[reed.id], self.zone) if reed.id in self.last else ""


def _people(reader: Reader, names: Sequence[str]) -> list[PlayerRecord]:
    if names:
        return [named(reader, PlayerRecord, name) for name in dict.fromkeys(names)]
    return reader.rows(PlayerRecord, order="name", limit=MOST_PLAYERS)


def _said(players: Sequence[PlayerSupply], unread: Sequence[SettledRow]) -> tuple[str, ...]:
    found = []
    without = [one.player.name for one in players if not one.ready]
    lacking = _lacking(players)
    if without:
        found.append(f"Without a reed that suits: {', '.join(without)}.")
    if lacking:
        reeds = "1 reed is" if lacking == 1 else f"{lacking} reeds are"
        found.append(f"{reeds} lacking in all.")
    elif players:
        found.append("Nobody lacks one.")
    if unread:
        them = "1 settled reed has" if len(unread) == 1 else f"{len(unread)} settled reeds have"
        found.append(f"{them} no reading since the last ease, or none: a gauge tells whom such a reed suits.")
    return tuple(found)
