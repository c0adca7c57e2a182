"""Takes to look through, one with everything that was kept of it. Guarded by `tests/web/test_takes.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.base.uncertain import Uncertain, number
from canebench.bench.views.drawing.draw_fitting import draw_take
from canebench.bench.views.kept_take import kept_report
from canebench.bench.views.verdict import verdict_of
from canebench.store.recordings import recording_path
from canebench.store.records import (
    ChanterRecord,
    PitchRecord,
    PlayerRecord,
    ReedRecord,
    SettingRecord,
    TakeRecord,
    TapeRecord,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from canebench.bench.views.drawing.draw_fitting import Drawn
    from canebench.bench.views.verdict import Verdict
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader

PAGE = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeLine:
    """One take in a list."""

    take: TakeRecord
    reed: ReedRecord | None
    chanter: ChanterRecord | None
    player: PlayerRecord | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakePage:
    """One take: its beam, numbers, setting and conditions, and its recording, if it is there."""

    line: TakeLine
    drawn: Drawn | None
    verdict: Verdict | None
    notes: list[tuple[str, str, str]]
    setting: SettingRecord | None
    tapes: list[TapeRecord]
    conditions: list[tuple[str, str]]
    recording: Path | None
    story: list[ActRecord]


def list_takes(
    ledger: Ledger,
    where: Mapping[str, int],
    *,
    page: int,
    reed: str | None = None,
    search: str | None = None,
) -> tuple[list[TakeLine], int]:
    """A page of takes, newest first, and how many there are; of the reed of a number, if so asked.

    `search` is looked for in where a take came from, such as its file's name, and in its remarks.
    """
    like = None if search is None else (("origin", "remarks"), search)
    with ledger.reading() as reader:
        if reed is not None:
            row = reader.find(ReedRecord, "number", reed)
            where = {**where, "reed_id": -1 if row is None else row.id}
        total = reader.count(TakeRecord, where, like=like)
        start = PAGE * (page - 1)
        size = max(0, min(PAGE, total - start))
        if start <= total // 2:
            rows = reader.rows(TakeRecord, where, order="-at", limit=size, offset=start, like=like)
        else:
            # Walked to from the nearer end.
            end = total - start - size
            rows = reader.rows(TakeRecord, where, order="at", limit=size, offset=end, like=like)[::-1]
        return _lines(reader, rows), total


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeFilter:
    """What takes can be chosen by besides their reed: (id, name) of chanters and players."""

    chanters: list[tuple[str, str]]
    players: list[tuple[str, str]]


def take_choices(ledger: Ledger) -> TakeFilter:
    """All chanters and players, in the order of their names."""
    with ledger.reading() as reader:
        chanters, players = (
            [(str(row.id), row.name) for row in reader.rows(kind, order="#name")]
            for kind in (ChanterRecord, PlayerRecord)
        )
    return TakeFilter(chanters=chanters, players=players)


def _lines(reader: Reader, takes: list[TakeRecord]) -> list[TakeLine]:
    reeds = reader.by_id(ReedRecord, (take.reed_id for take in takes))
    chanters = reader.by_id(ChanterRecord, (take.chanter_id for take in takes))
    players = reader.by_id(PlayerRecord, (take.player_id for take in takes))
    return [
        TakeLine(
            take=take,
            reed=reeds.get(take.reed_id),
            chanter=chanters.get(take.chanter_id),
            player=players.get(take.player_id),
        )
        for take in takes
    ]


def take_page(ledger: Ledger, take_id: int, takes_folder: Path) -> TakePage:
    """One take."""
    with ledger.reading() as reader:
        take = reader.row(TakeRecord, take_id)
        pitches = reader.rows(PitchRecord, {"take_id": take_id})
        setting = None if take.setting_id is None else reader.row(SettingRecord, take.setting_id)
        tapes = [] if setting is None else reader.rows(TapeRecord, {"setting_id": setting.id})
        (line,) = _lines(reader, [take])
        story = reader.story(TakeRecord, take_id, newest=50)[::-1]
    try:
        report = kept_report(take, pitches)
    except InputError:
        # Its scale is not among ours: pitches stand as they are.
        report = None
    name = take.recording_sha256
    path = None if name is None else recording_path(takes_folder, name)
    return TakePage(
        line=line,
        drawn=None if report is None else draw_take(report, title="The beam of this take"),
        verdict=None if report is None else verdict_of(report),
        notes=[
            (
                note.note,
                Uncertain(value=note.hz, sd=note.sd_hz).text("Hz"),
                Uncertain(value=note.cents, sd=report.repeat_sd_cents[note.note]).text("cents", signed=True),
            )
            for note in report.measurement.notes
        ]
        if report is not None
        else [(row.note, f"{number(row.hz, 2)} Hz", "") for row in pitches],
        setting=setting,
        tapes=tapes,
        conditions=[
            (label, f"{number(value, 1)} {unit}")
            for value, label, unit in (
                (take.room_degc, "Temperature", "°C"),
                (take.room_rh, "Humidity", "%"),
                (take.warm_min, "Played before", "min"),
            )
            if value is not None
        ],
        recording=path if path is not None and path.is_file() else None,
        story=story,
    )


def remove_take(ledger: Ledger, take_id: int, *, who: str) -> None:
    """Into the bin with its pitches, for thirty days; undo brings all of it back."""
    with ledger.act("remove", who=who, said=f"removed take {take_id}") as act:
        take = act.row(TakeRecord, take_id)
        for pitch in act.rows(PitchRecord, {"take_id": take_id}):
            act.remove(pitch)
        act.remove(take)
