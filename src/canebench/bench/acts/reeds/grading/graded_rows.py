"""The reeds of a lot as rows of its grading sheet: what this sitting has written down of each.

What is typed over a reading of the same sitting corrects it; a reading of another day stays, and what is
typed is a new one. Guarded by `tests/doors/test_grading.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from canebench.base.pressure import from_kpa
from canebench.reeds.inspection import marks_in
from canebench.reeds.states import MOVES, State
from canebench.store.records import ReedRecord, StrengthRecord

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canebench.base.pressure import PressureUnit
    from canebench.store.reader import Reader

#: So long ago a reading may be, and is still one of this sitting.
SITTING: Final = timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowContent:
    """What stands in a row, as typed: gauge, or by mouth than a reed; marks, and what else is remarked."""

    gauge: str = ""
    mouth: str = ""
    than: str = ""
    marks: tuple[str, ...] = ()
    remarks: str = ""

    @property
    def strength(self) -> tuple[str, str, str]:
        """What is told of how strong it is."""
        return self.gauge, self.mouth, self.than

    @property
    def looks(self) -> tuple[tuple[str, ...], str]:
        """What is told of how it looks."""
        return self.marks, self.remarks


@dataclass(frozen=True, slots=True, kw_only=True)
class RowRead:
    """A row as someone read it: its content, and the reading that it shows, None for none yet."""

    reading: int | None = None
    version: int | None = None
    content: RowContent = field(default_factory=RowContent)


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedRow:
    """A reed and its reading of this sitting, None where there is none yet."""

    reed: ReedRecord
    reading: StrengthRecord | None
    read: RowRead

    @property
    def may_go_aside(self) -> bool:
        """Whether it may be set aside from where it stands."""
        return State.SET_ASIDE in MOVES[State(self.reed.state)]


def graded_rows(
    reader: Reader, reeds: Sequence[ReedRecord], *, unit: PressureUnit, now: datetime
) -> list[GradedRow]:
    """These reeds as rows, pressures in `unit`."""
    ids = [reed.id for reed in reeds]
    newest = {row.reed_id: row for row in reader.newest_of_many(StrengthRecord, "reed_id", ids, order="at")}
    of_sitting = {reed_id: row for reed_id, row in newest.items() if _of_sitting(row, now)}
    than = reader.by_id(ReedRecord, (row.than_reed_id for row in of_sitting.values()))
    return [_row(reed, of_sitting.get(reed.id), than, unit) for reed in reeds]


def _of_sitting(row: StrengthRecord, now: datetime) -> bool:
    """Whether a sheet shows it: one that was read at other moments too is corrected elsewhere."""
    return now - datetime.fromisoformat(row.at) < SITTING and row.pressures_kpa.keys() <= {"playing"}


def _row(
    reed: ReedRecord,
    reading: StrengthRecord | None,
    than: dict[int | None, ReedRecord],
    unit: PressureUnit,
) -> GradedRow:
    marks, rest = marks_in(reed.remarks)
    content = RowContent(marks=marks, remarks=rest)
    if reading is not None:
        other = than.get(reading.than_reed_id)
        kpa = reading.playing_kpa
        content = RowContent(
            gauge="" if kpa is None else gauge_text(kpa, unit),
            mouth=reading.by_mouth or "",
            than="" if other is None else other.number,
            marks=marks,
            remarks=rest,
        )
    read = RowRead(
        reading=None if reading is None else reading.id,
        version=None if reading is None else reading.version,
        content=content,
    )
    return GradedRow(reed=reed, reading=reading, read=read)


def gauge_text(kpa: float, unit: PressureUnit) -> str:
    """A pressure as one would have typed it, in `unit`."""
    return f"{round(from_kpa(kpa, unit), 3):g}"
