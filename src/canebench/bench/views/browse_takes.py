"""Takes to look through, one with everything that was kept of it. Guarded by `tests/web/test_takes.py`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canebench.base.errors import InputError
from canebench.base.uncertain import Uncertain, number
from canebench.bench.views.drawing.draw_fitting import draw_take
from canebench.bench.views.kept_take import kept_report
from canebench.bench.views.verdict import verdict_of

if TYPE_CHECKING:
    from pathlib import Path

    from canebench.bench.views.drawing.draw_fitting import Drawn
    from canebench.bench.views.verdict import Verdict
    from canebench.store.ledger import Ledger
    from canebench.store.reader import ActRecord, Reader
    from canebench.store.tables import Row, Value

PAGE = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeLine:
    """One take in a list."""

    take: Row
    reed: Row | None
    chanter: Row | None
    player: Row | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakePage:
    """One take: its beam, numbers, setting and conditions, and its recording, if it is there."""

    line: TakeLine
    drawn: Drawn | None
    verdict: Verdict | None
    notes: list[tuple[str, str, str]]
    setting: Row | None
    tapes: list[Row]
    conditions: list[tuple[str, str]]
    recording: Path | None
    story: list[ActRecord]


def list_takes(
    ledger: Ledger, where: dict[str, Value], *, page: int, reed: str | None = None
) -> tuple[list[TakeLine], int]:
    """A page of takes, newest first, and how many there are; of the reed of a number, if so asked."""
    with ledger.reading() as reader:
        if reed is not None:
            row = reader.find("reeds", "number", reed)
            where = {**where, "reed_id": -1 if row is None else row["id"]}
        total = reader.count("takes", where)
        start = PAGE * (page - 1)
        size = max(0, min(PAGE, total - start))
        if start <= total // 2:
            rows = reader.rows("takes", where, order="-at", limit=size, offset=start)
        else:
            # Walked to from the nearer end.
            rows = reader.rows("takes", where, order="at", limit=size, offset=total - start - size)[::-1]
        return _lines(reader, rows), total


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeFilter:
    """What takes can be chosen by besides their reed: (id, name) of chanters and players."""

    chanters: list[tuple[str, str]]
    players: list[tuple[str, str]]


def take_choices(ledger: Ledger) -> TakeFilter:
    """All chanters and players, in the order of their names."""
    with ledger.reading() as reader:
        found = {
            table: [(str(row["id"]), str(row["name"])) for row in reader.rows(table, order="#name")]
            for table in ("chanters", "players")
        }
    return TakeFilter(**found)


def _lines(reader: Reader, takes: list[Row]) -> list[TakeLine]:
    known: dict[str, dict[Value, Row]] = {}
    for noun in ("reed", "chanter", "player"):
        ids = list({take[f"{noun}_id"] for take in takes} - {None})
        known[noun] = {row["id"]: row for row in reader.of_many(f"{noun}s", "id", ids)}
    return [
        TakeLine(
            take=take,
            reed=known["reed"].get(take["reed_id"]),
            chanter=known["chanter"].get(take["chanter_id"]),
            player=known["player"].get(take["player_id"]),
        )
        for take in takes
    ]


def take_page(ledger: Ledger, take_id: int, takes_folder: Path) -> TakePage:
    """One take."""
    with ledger.reading() as reader:
        take = reader.row("takes", take_id)
        pitches = reader.rows("pitches", {"take_id": take_id})
        setting = None if take["setting_id"] is None else reader.row("settings", int(take["setting_id"]))
        tapes = [] if setting is None else reader.rows("tapes", {"setting_id": setting["id"]})
        (line,) = _lines(reader, [take])
        story = reader.story("takes", take_id, newest=50)[::-1]
    try:
        report = kept_report(take, pitches)
    except InputError:
        # Its scale is not among ours: pitches stand as they are.
        report = None
    name = take["recording_sha256"]
    path = None if name is None else takes_folder / f"{name}.flac"
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
        else [(str(row["note"]), f"{number(float(row['hz'] or 0), 2)} Hz", "") for row in pitches],
        setting=setting,
        tapes=tapes,
        conditions=[
            (label, f"{number(float(take[column] or 0), 1)} {unit}")
            for column, label, unit in (
                ("room_degc", "Temperature", "°C"),
                ("room_rh", "Humidity", "%"),
                ("warm_min", "Played before", "min"),
            )
            if take[column] is not None
        ],
        recording=path if path is not None and path.is_file() else None,
        story=story,
    )


def remove_take(ledger: Ledger, take_id: int, *, who: str) -> None:
    """Into the bin with its pitches, for thirty days; undo brings all of it back."""
    with ledger.act("remove", who=who, said=f"removed take {take_id}") as act:
        take = act.row("takes", take_id)
        for row in act.rows("pitches", {"take_id": take_id}):
            act.remove("pitches", int(row["id"] or 0), read=row)
        act.remove("takes", take_id, read=take)
