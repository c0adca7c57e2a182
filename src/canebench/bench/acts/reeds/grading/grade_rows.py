"""Grade reeds of a lot: what was typed into rows of its sheet, in one act; a row that will not do stays out.

Guarded by `tests/doors/test_grading.py` and `tests/web/test_lots.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar, Final

from canebench.base.errors import CanebenchError, InputError, NotFoundError
from canebench.base.pressure import parse_gauge
from canebench.bench.acts.ledger import named
from canebench.bench.acts.reeds.grading.graded_rows import SITTING, graded_rows
from canebench.bench.acts.reeds.mouths import insisted_on, log_mouth
from canebench.bench.acts.reeds.reed_days import check_comparison
from canebench.reeds.inspection import with_marks
from canebench.reeds.states import State, check_move
from canebench.reeds.strength import READ_KPA
from canebench.store.records import LotRecord, MouthTestRecord, PlayerRecord, ReedRecord
from canebench.store.values import written

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.base.pressure import PressureUnit
    from canebench.bench.acts.reeds.grading.graded_rows import GradedRow, RowContent, RowRead
    from canebench.store.ledger import Ledger
    from canebench.store.reader import Reader
    from canebench.store.tables import Value
    from canebench.store.writer import Writer

#: The fields of a row by what errors call them.
_FIELDS: Final = {"gauge": "gauge", "strength by mouth": "mouth", "than reed": "than", "mark": "marks"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedRow:
    """What was typed into the row of a reed that was `read` so.

    `aside` sets it aside; `insist` takes it although it rests; `asked` where it waits for an answer because
    someone else changed it, and `over` is that answer.
    """

    reed_id: int
    content: RowContent
    read: RowRead
    aside: bool = False
    insist: bool = False
    asked: bool = False
    over: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedRow:
    """A row that was not written down: which of its fields will not do, and why."""

    reed_id: int
    field: str
    error: CanebenchError


@dataclass(frozen=True, slots=True, kw_only=True)
class Graded:
    """What was written down, in words ("" for nothing), of which reeds; and what was refused."""

    said: str
    numbers: tuple[str, ...]
    refused: tuple[RefusedRow, ...]


class ChangedSinceError(CanebenchError):
    """A row that someone else has changed since it was read; both versions, and what waits."""

    code: ClassVar[str] = "stale"
    exit_status: ClassVar[int] = 8
    http_status: ClassVar[int] = 409

    def __init__(self, number: str, *, then: str, now: str, yours: str) -> None:
        super().__init__(
            f"Reed {number} was changed elsewhere meanwhile: {then} then, {now} now. "
            f"Yours, {yours}, is not written down."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """What is to be done to one row; an empty `strength` takes its reading away, None leaves it."""

    row: GradedRow
    said: str
    strength: Mapping[str, Value] | None = None
    looks: tuple[str | None] | None = None
    aside: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """What rows are checked against: the reader of one state, the unit, who blew, and when it is."""

    reader: Reader
    unit: PressureUnit
    player: PlayerRecord | None
    now: datetime
    rows: dict[int, GradedRow] = field(default_factory=dict)


def grade_rows(
    ledger: Ledger,
    lot_id: int,
    typed: Sequence[TypedRow],
    *,
    unit: PressureUnit,
    who: str,
    player: str | None = None,
) -> Graded:
    """Write down the rows that will do, in one act.

    Parameters
    ----------
    ledger : Ledger
        Where the lot is.
    lot_id : int
        Which lot; a row of another lot's reed is refused.
    typed : sequence of TypedRow
        Rows of its sheet; what was not changed in one is left as it is, whatever it is by now.
    unit : PressureUnit
        What the gauge is in.
    who : str
        Who does this.
    player : str, optional
        Who blew: a reed graded by mouth then rests for other mouths.

    Raises
    ------
    NotFoundError
        No such lot or player.
    """
    with ledger.reading() as reader:
        lot = reader.row(LotRecord, lot_id)
        person = None if player is None else named(reader, PlayerRecord, player)
        now = ledger.clock()
        reeds = reader.of_many(ReedRecord, "id", [row.reed_id for row in typed])
        reeds = [reed for reed in reeds if reed.lot_id == lot_id]
        rows = {row.reed.id: row for row in graded_rows(reader, reeds, unit=unit, now=now)}
        sheet = _Sheet(reader=reader, unit=unit, player=person, now=now, rows=rows)
        changes, refused = _checked(sheet, typed)
    if not changes:
        return Graded(said="", numbers=(), refused=tuple(refused))
    numbers = tuple(change.row.reed.number for change in changes)
    one = f"reed {numbers[0]} of the lot {lot.name}: {changes[0].said}"
    said = f"graded {one if len(changes) == 1 else f'{len(changes)} reeds of the lot {lot.name}'}"
    with ledger.act("grade", who=who, said=said[:2000]) as act:
        for change in changes:
            _write(act, change, person)
    return Graded(said=said, numbers=numbers, refused=tuple(refused))


def _checked(sheet: _Sheet, typed: Sequence[TypedRow]) -> tuple[list[_Change], list[RefusedRow]]:
    changes, refused = [], []
    for one in typed:
        try:
            row = sheet.rows.get(one.reed_id)
            if row is None:
                raise NotFoundError("This reed is not in this lot any more.")
            change = _change(sheet, row, one)
        except CanebenchError as error:
            refused.append(RefusedRow(reed_id=one.reed_id, field=_field_of(error), error=error))
        else:
            changes += [] if change is None else [change]
    return changes, refused


def _field_of(error: CanebenchError) -> str:
    """The field of a row to which a refusal belongs."""
    name = error.field if isinstance(error, InputError) else ""
    return {"gauge": "gauge", "strength by mouth": "mouth", "than reed": "than", "mark": "marks"}.get(
        name, ""
    )


def _change(sheet: _Sheet, row: GradedRow, typed: TypedRow) -> _Change | None:
    """What the row asks for; None where it is so already. An error where it will not do."""
    then, now, content = typed.read, row.read, typed.content
    stronger = content.strength not in (then.content.strength, now.content.strength)
    looked = content.looks not in (then.content.looks, now.content.looks)
    aside = typed.aside and row.reed.state != State.SET_ASIDE.value
    changed = (stronger and (then.reading, then.version) != (now.reading, now.version)) or (
        looked and then.content.looks != now.content.looks
    )
    if (changed or (typed.asked and (stronger or looked))) and not typed.over:
        raise ChangedSinceError(
            row.reed.number,
            then=content_said(then.content, sheet.unit),
            now=content_said(now.content, sheet.unit),
            yours=content_said(content, sheet.unit),
        )
    if not (stronger or looked or aside):
        return None
    strength, note = (None, "") if not stronger else _strength(sheet, row, typed)
    remarks = with_marks(content.marks, content.remarks)
    reason = (with_marks(content.marks, "") or "at grading") if aside else None
    if reason is not None:
        check_move(State(row.reed.state), State.SET_ASIDE, reason=reason)
    return _Change(
        row=row,
        said=f"{content_said(content, sheet.unit)}{', set aside' if aside else ''}{note}",
        strength=strength,
        looks=(remarks,) if looked else None,
        aside=reason,
    )


def content_said(content: RowContent, unit: PressureUnit) -> str:
    """A row in a few words."""
    bare = content.gauge.replace(",", "").replace(".", "").isdigit()
    gauge = f"{content.gauge} {unit}" if bare else content.gauge
    mouth = f"{content.mouth} {'as' if content.mouth == 'same' else 'than'} reed {content.than}"
    parts = (gauge, mouth if content.mouth else "", with_marks(content.marks, content.remarks))
    return ", ".join(part for part in parts if part) or "nothing"


def _strength(sheet: _Sheet, row: GradedRow, typed: TypedRow) -> tuple[dict[str, Value], str]:
    """The columns of the reading that is typed, none where it was emptied; and what its act adds."""
    content, reed = typed.content, row.reed
    check_comparison(content.mouth or None, content.than or None)
    if not content.gauge and not content.mouth:
        return {}, ""
    found: dict[str, Value] = {
        "playing_kpa": None,
        "playing_sd_kpa": None,
        "given_unit": None,
        "by_mouth": content.mouth or None,
        "than_reed_id": _other(sheet.reader, reed, content.than) if content.mouth else None,
    }
    if content.gauge:
        read = parse_gauge(content.gauge, sheet.unit, field="gauge")
        found |= {
            "playing_kpa": read.kpa,
            "playing_sd_kpa": READ_KPA,
            "given_unit": read.unit.value,
        }
    if sheet.player is not None:
        found["player_id"] = sheet.player.id
    name = None if sheet.player is None else sheet.player.name
    return found, insisted_on(sheet.reader, reed, name, sheet.now, insist=typed.insist)


def _other(reader: Reader, reed: ReedRecord, number: str) -> int:
    """The reed that one was compared with."""
    found = reader.find(ReedRecord, "number", number)
    if found is None or found.id == reed.id:
        allowed = "another reed's number is needed" if found else "no reed has that number"
        raise InputError(field="than reed", given=repr(number), allowed=allowed)
    return found.id


def _write(act: Writer, change: _Change, person: PlayerRecord | None) -> None:
    row, reed = change.row, change.row.reed
    told: dict[str, Value] = {}
    if change.looks is not None:
        told["remarks"] = change.looks[0]
    if change.aside is not None:
        told |= {"state": State.SET_ASIDE.value, "state_reason": change.aside, "state_since": act.at}
    if told:
        act.update(reed, told)
    if change.strength is None:
        return
    # What another player has read is another reading, and stays.
    theirs = row.reading and person and row.reading.player_id not in (None, person.id)
    if row.reading is None or (theirs and change.strength):
        if change.strength:
            act.insert("strengths", {"reed_id": reed.id, "at": act.at, **change.strength})
    elif change.strength:
        act.update(row.reading, change.strength)
    else:
        act.remove(row.reading)
    if change.strength.get("by_mouth") and person is not None:
        _log_once(act, reed, person)


def _log_once(act: Writer, reed: ReedRecord, person: PlayerRecord) -> None:
    """That the reed was in this mouth, once a sitting however often its row is mended."""
    since = written(datetime.fromisoformat(act.at) - SITTING)
    tests = act.rows(MouthTestRecord, {"reed_id": reed.id, "player_id": person.id})
    if not any(test.at > since for test in tests):
        log_mouth(act, reed, person)
