"""Grade a lot from lines of plain text, "number reading" each: the grading sheet for a command.

Guarded by `tests/doors/test_grading.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from canebench.base.errors import CanebenchError, InputError
from canebench.base.pressure import PressureUnit, parse_pressure
from canebench.bench.acts.band import unit_of
from canebench.bench.acts.ledger import named, reed_numbered
from canebench.bench.acts.reeds.grading.grade_rows import TypedRow, grade_rows
from canebench.bench.acts.reeds.grading.graded_rows import RowContent, graded_rows
from canebench.store.records import LotRecord

if TYPE_CHECKING:
    from datetime import datetime

    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader

#: "easier than 7", "same as 7": words of ours, and a reed's number.
_BY_MOUTH: Final = re.compile(r"(?P<mouth>[a-z ]+?)\s+(?:than|as)\s+(?P<than>\S+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRefused:
    """A line that was not written down, counted from 1, and why."""

    line: int
    text: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesGraded:
    """What was written down, in words ("" for nothing), of which reeds; and what was refused."""

    said: str
    numbers: tuple[str, ...]
    refused: tuple[LineRefused, ...]


def grade_lines(
    ledger: Ledger,
    lot: str,
    text: str,
    *,
    who: str,
    unit: PressureUnit | None = None,
    player: str | None = None,
    insist: bool = False,
) -> LinesGraded:
    """Write down the lines that will do, in one act; empty lines and those that begin with # are passed over.

    Parameters
    ----------
    ledger : Ledger
        Where the lot is.
    lot : str
        Its name.
    text : str
        Lines such as "7 28 inH2O", "7 28" where `unit` is told, or "8 a little stronger than 7".
    who, player : str
        Who does this, and who blew.
    unit : PressureUnit, optional
        What a bare number is in; without it the settled one, else each reading needs its unit.
    insist : bool
        Reeds that rest from another's mouth are taken all the same.

    Raises
    ------
    NotFoundError
        No such lot or player.
    """
    refused: list[LineRefused] = []
    typed: dict[int, TypedRow] = {}
    lines: dict[int, tuple[int, str]] = {}
    with ledger.reading() as reader:
        lot_id = named(reader, LotRecord, lot).id
        unit = unit or unit_of(reader)
        now = ledger.clock()
        for at, line in enumerate(text.splitlines(), start=1):
            if not line.strip() or line.lstrip().startswith("#"):
                continue
            try:
                row = _typed(reader, line, unit, now)
                if row.reed_id in typed:
                    allowed = f"line {lines[row.reed_id][0]} has that reed already"
                    raise InputError(field="reed", given=line.split()[0], allowed=allowed)
            except CanebenchError as error:
                refused.append(LineRefused(line=at, text=line, why=str(error)))
            else:
                typed[row.reed_id] = replace(row, insist=insist)
                lines[row.reed_id] = (at, line)
    chosen = unit or PressureUnit.INH2O
    graded = grade_rows(ledger, lot_id, list(typed.values()), unit=chosen, who=who, player=player)
    for one in graded.refused:
        at, line = lines[one.reed_id]
        refused.append(LineRefused(line=at, text=line, why=str(one.error)))
    refused.sort(key=lambda one: one.line)
    return LinesGraded(said=graded.said, numbers=graded.numbers, refused=tuple(refused))


def _typed(reader: Reader, line: str, unit: PressureUnit | None, now: datetime) -> TypedRow:
    """A line as a row of the sheet; what else stands in that row stays."""
    number, *rest = line.split(maxsplit=1)
    if not rest:
        raise InputError(
            field="line",
            given=repr(line.strip()),
            allowed="a reed's number and its reading",
            nearest="7 28 inH2O",
        )
    reed = reed_numbered(reader, number)
    row = graded_rows(reader, [reed], unit=unit or PressureUnit.INH2O, now=now)[0]
    told = rest[0].strip()
    match = _BY_MOUTH.fullmatch(told.lower())
    if match is not None:
        given = RowContent(mouth=match["mouth"], than=told.split()[-1])
    else:
        if unit is None:
            parse_pressure(told, field="gauge")
        given = RowContent(gauge=told)
    kept = row.read.content
    content = replace(given, marks=kept.marks, remarks=kept.remarks)
    return TypedRow(reed_id=reed.id, content=content, read=row.read)
