"""Spells of playing afterwards: looked through, mended or taken back however long ago they were.

What a reed will become, the noise of a week and the calendar are worked out from the rows, so they follow. A
strength that was read after a spell in the same act goes where its spell goes. Guarded by
`tests/doors/test_spell_command.py` and `tests/web/test_spells.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.clock.local_time import time_said
from canebench.base.clock.typed_time import past_time_typed
from canebench.base.errors import InputError, NotFoundError
from canebench.base.parsing import number_from
from canebench.bench.acts.band import zone_of
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.reed_days import READ_AFTER, SPELL_MIN
from canebench.reeds.states import NOT_OFFERED
from canebench.store.records import (
    ChanterRecord,
    PlayerRecord,
    PlayRecord,
    ReedRecord,
    StrengthRecord,
    TakeRecord,
)
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import tzinfo

    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.tables import Value

_STORY: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellLine:
    """A spell of playing in a list; `reed` its number, `player` a name, None where that was not told."""

    spell: int
    reed: str
    at: str
    minutes: float
    player: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MendedSpell:
    """What an act made of a spell, in words; the spell before, and now: None where it was taken back."""

    said: str
    before: SpellLine
    now: SpellLine | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellPage:
    """One spell with its reed, its player's name and its acts, newest first.

    `minutes` and `at` are as one types them, by the clock of the band; `after` is whether a strength was read
    after it; `removal` the act that put it into the bin.
    """

    spell: PlayRecord
    reed: ReedRecord
    player: str | None
    minutes: str
    at: str
    after: bool
    removal: int | None
    story: list[ActRecord]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceForTake:
    """A reed that was just played, and its last chanter: where a take of it is made now."""

    reed_id: int
    number: str
    chanter_id: int | None


def list_spells(
    ledger: Ledger, reed: str | None, *, limit: int, offset: int = 0
) -> tuple[list[SpellLine], int]:
    """The newest spells but for `offset`, of the reed of a number or of all; and how many there are."""
    if limit < 1:
        raise InputError(field="limit", given=f"{limit}", allowed="at least 1", nearest="1")
    with ledger.reading() as reader:
        where: dict[str, Value] = {} if reed is None else {"reed_id": reed_numbered(reader, reed).id}
        rows = reader.rows(PlayRecord, where, order="-at", limit=limit, offset=offset)
        return _lines(reader, rows), reader.count(PlayRecord, where)


def one_spell(ledger: Ledger, spell_id: int) -> SpellLine:
    """A spell by its number."""
    with ledger.reading() as reader:
        return _lines(reader, [_in_use(reader, spell_id)])[0]


def spell_page(ledger: Ledger, reed_id: int, spell_id: int) -> SpellPage:
    """A spell of that reed, in the bin or not."""
    with ledger.reading() as reader:
        spell, reed = reader.row(PlayRecord, spell_id), reader.row(ReedRecord, reed_id)
        if spell.reed_id != reed_id:
            raise NotFoundError(f"Spell {spell_id} is not one of reed {reed.number}.")
        story = reader.story(PlayRecord, spell_id, newest=_STORY)[::-1]
        return SpellPage(
            spell=spell,
            reed=reed,
            player=_player(reader, spell.player_id),
            minutes=_minutes_typed(spell),
            at=time_said(spell.at, zone_of(reader)),
            after=bool(_read_after(reader, spell)),
            # In the bin nothing else can be done to it: its last act put it there.
            removal=story[0].id if story and spell.removed_at is not None else None,
            story=story,
        )


def mend_spell(
    ledger: Ledger,
    spell_id: int,
    told: Mapping[str, str | None],
    *,
    who: str,
    read: Mapping[str, Value] | None = None,
) -> MendedSpell:
    """Other minutes, another time or player for a spell; refused where it is not as it was `read`.

    `told` has what is told of `minutes`, `at` and `player` (None: not told who), as typed; what is missing
    there stays.
    """
    with ledger.reading() as reader:
        spell, zone = _in_use(reader, spell_id), zone_of(reader)
        was = spell if read is None else spell.as_read(read)
        values = _values(reader, spell, told, zone, now=ledger.clock())
        then = {name: getattr(spell, name) for name in values}
        if values == then and was.version == spell.version:
            raise InputError(
                field=f"spell {spell_id}",
                given="nothing new",
                allowed="other minutes, another time or another player is needed",
            )
        before, after = _lines(reader, [spell])[0], _read_after(reader, spell)
        changed = [
            f"{_said(reader, name, value, zone)}, before {_said(reader, name, then[name], zone)}"
            for name, value in values.items()
            if value != then[name]
        ]
    said = f"mended {_spell_said(before, zone)}: {'; '.join(changed)}"
    with ledger.act("mend", who=who, said=said) as act:
        now = act.update(was, values)
        moved = datetime.fromisoformat(now.at) - datetime.fromisoformat(spell.at)
        for reading in after:
            at = written(datetime.fromisoformat(reading.at) + moved)
            player = now.player_id if reading.player_id == spell.player_id else reading.player_id
            if (at, player) != (reading.at, reading.player_id):
                act.update(reading, {"at": at, "player_id": player})
        return MendedSpell(said=said, before=before, now=_lines(act, [now])[0])


def take_spell_back(
    ledger: Ledger, spell_id: int, *, who: str, read: Mapping[str, Value] | None = None
) -> MendedSpell:
    """A spell into the bin, and the strength read after it; refused where it is not as it was `read`."""
    with ledger.reading() as reader:
        spell = _in_use(reader, spell_id)
        before, after = _lines(reader, [spell])[0], _read_after(reader, spell)
        strength = ", with the strength read after it" if after else ""
        said = f"took back {_spell_said(before, zone_of(reader))}{strength}"
    with ledger.act("take-back", who=who, said=said) as act:
        act.remove(spell if read is None else spell.as_read(read))
        for reading in after:
            act.remove(reading)
    return MendedSpell(said=said, before=before, now=None)


def place_for_take(reader: Reader, act: ActRecord) -> PlaceForTake | None:
    """Where a take is made of the reed that an act says was played.

    None for other acts, and for a reed that is not fitted any more.
    """
    played = [after["reed_id"] for table, _, _, after in act.changes if table == PlayRecord.table and after]
    if act.kind != "play" or act.undone_by is not None or not played:
        return None
    reed = reader.row(ReedRecord, played[0])
    if reed.removed_at is not None or reed.state in NOT_OFFERED:
        return None
    takes = reader.newest_of_many(TakeRecord, "reed_id", [reed.id], order="at")
    chanters = reader.by_id(ChanterRecord, (take.chanter_id for take in takes))
    return PlaceForTake(reed_id=reed.id, number=reed.number, chanter_id=next(iter(chanters), None))


def _in_use(reader: Reader, spell_id: int) -> PlayRecord:
    spell = reader.row(PlayRecord, spell_id)
    if spell.removed_at is not None:
        raise NotFoundError(f"Spell {spell_id} lies in the bin: undo the act that took it back first.")
    return spell


def _read_after(reader: Reader, spell: PlayRecord) -> list[StrengthRecord]:
    """What was read of the reed's strength after that spell, in the same act."""
    at = written(datetime.fromisoformat(spell.at) + READ_AFTER)
    return reader.rows(StrengthRecord, {"reed_id": spell.reed_id, "at": at})


def _values(
    reader: Reader, spell: PlayRecord, told: Mapping[str, str | None], zone: tzinfo | None, *, now: datetime
) -> dict[str, Value]:
    """The columns that are told; a text that says what was there leaves it there, to the last digit."""
    found: dict[str, Value] = {}
    if "minutes" in told:
        text = told["minutes"] or ""
        minutes = spell.minutes if text == _minutes_typed(spell) else number_from(text, "minutes")
        SPELL_MIN.check("minutes", minutes)
        found["minutes"] = minutes
    if "at" in told:
        text = told["at"] or ""
        if text == time_said(spell.at, zone):
            found["at"] = spell.at
        else:
            moment = past_time_typed(text, zone, field="when", now=now)
            found["at"] = written(moment)
            _check_alone(reader, spell, moment, zone)
    if "player" in told:
        player = told["player"]
        found["player_id"] = named(reader, PlayerRecord, player).id if player else None
    return found


def _check_alone(reader: Reader, spell: PlayRecord, moment: datetime, zone: tzinfo | None) -> None:
    """An error where another spell of the reed stands at that very time: a reading would be after both."""
    others = reader.columns(PlayRecord, ("id", "at"), {"reed_id": spell.reed_id})
    taken = {at for spell_id, at in others if spell_id != spell.id}
    free = moment
    while written(free) in taken:
        free -= timedelta(minutes=1)
    if free != moment:
        raise InputError(
            field="when",
            given=time_said(moment, zone),
            allowed="another spell of this reed stands at that time, and two cannot be at once",
            nearest=time_said(free, zone),
        )


def _lines(reader: Reader, rows: Sequence[PlayRecord]) -> list[SpellLine]:
    reeds = {reed: reader.row(ReedRecord, reed).number for reed in {row.reed_id for row in rows}}
    players = {player: _player(reader, player) for player in {row.player_id for row in rows}}
    return [
        SpellLine(
            spell=row.id,
            reed=reeds[row.reed_id],
            at=row.at,
            minutes=row.minutes,
            player=players[row.player_id],
        )
        for row in rows
    ]


def _player(reader: Reader, player_id: int | None) -> str | None:
    return None if player_id is None else reader.row(PlayerRecord, player_id).name


def _minutes_typed(spell: PlayRecord) -> str:
    return f"{spell.minutes:g}"


def _spell_said(line: SpellLine, zone: tzinfo | None) -> str:
    return f"{line.minutes:g} min of playing reed {line.reed}, {time_said(line.at, zone)}"


def _said(reader: Reader, name: str, value: Value, zone: tzinfo | None) -> str:
    """A column of a spell in words."""
    if name == "minutes":
        return f"{value:g} min"
    if name == "at":
        return time_said(str(value), zone)
    return _player(reader, None if value is None else int(value)) or "not told who"
