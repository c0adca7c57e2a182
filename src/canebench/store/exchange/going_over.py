"""One way through an import's rows, a thousand at a time; the same for looking and for writing.

Tables follow each other so that what is referred to is known. Looking gives rows the ids they would get.
Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import islice
from typing import TYPE_CHECKING, Final

from canebench.store.exchange.drafts import Draft, Reading, as_row
from canebench.store.exchange.findings import SHOWN_ROWS, Duplicate, ImportChoices, TableFound
from canebench.store.exchange.references import References
from canebench.store.exchange.standing import LedgerStanding, digest, unique_column
from canebench.store.tables import TABLES, table_named

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from canebench.store.exchange.sheet import Sheet
    from canebench.store.reader import Reader
    from canebench.store.tables import Column, Row, Table, Value
    from canebench.store.writer import Writer

#: Told the rows done and all of them, None where that is not known.
Progress = Callable[[int, int | None], None]
_BATCH: Final = 1000


class GoingOver:
    """An import on its way."""

    def __init__(
        self,
        reader: Reader,
        sheets: Mapping[str, Sheet],
        choices: ImportChoices,
        *,
        progress: Progress | None,
        writer: Writer | None = None,
    ) -> None:
        for name in (*sheets, *choices.mapping):
            table_named(name)
        self._sheets, self._choices, self._progress, self._writer = sheets, choices, progress, writer
        self._standing = LedgerStanding(reader)
        self._references = References(self._standing, kept=choices.ids == "kept")
        totals = [sheet.total for sheet in sheets.values() if sheet.total is not None]
        self._total = sum(totals) if len(totals) == len(sheets) else None
        self._done = 0
        self._refused = False
        self._next = {name: last + 1 for name, last in self._standing.last.items()}

    def run(self) -> dict[str, TableFound]:
        """Every table in the ledger's order."""
        return {
            name: self._table(TABLES[name], self._sheets[name]) for name in TABLES if name in self._sheets
        }

    def _table(self, table: Table, sheet: Sheet) -> TableFound:
        reading = Reading(table, sheet, self._choices)
        found, doubles = reading.found, Doubles(table, self._standing, self._references, reading.found)
        if reading.has_ids:
            self._references.expect(table.name)
        rows = sheet.rows()
        while batch := list(islice(rows, _BATCH)):
            drafts = [draft for number, cells in batch if (draft := reading.draft(number, cells))]
            found.rows += len(drafts)
            self._references.resolve(table, drafts, found)
            doubles.sift(drafts, kept=self._choices.ids == "kept")
            self._write(table, drafts, found)
            self._done += len(batch)
            if self._progress is not None:
                self._progress(self._done, self._total)
        return found

    def _write(self, table: Table, drafts: Sequence[Draft], found: TableFound) -> None:
        kept, key = self._choices.ids == "kept", unique_column(table)
        refuse = self._choices.duplicates == "refuse"
        self._refused = self._refused or bool(found.problem_count or (refuse and found.duplicate_count))
        fitting = [draft for draft in drafts if draft.fits]
        rows = [as_row(draft, kept=kept) for draft in fitting]
        if self._writer is not None and not self._refused:
            ids = self._writer.insert_many(table.name, rows, keep=kept)
        elif kept:
            ids = [draft.id or 0 for draft in fitting]
        else:
            ids = list(range(self._next[table.name], self._next[table.name] + len(rows)))
        if ids:
            self._next[table.name] = max(ids) + 1
        for draft, row, row_id in zip(fitting, rows, ids, strict=True):
            self._references.place(table, draft, row_id, key)
            if len(found.first) < SHOWN_ROWS:
                found.first.append((draft.row, {"id": row_id, "version": 1, **row}))
        found.fitting += len(fitting)
        self._references.follow(table, drafts, key)


class Doubles:
    """Rows of one table that stand in the ledger or in the file already."""

    def __init__(
        self, table: Table, standing: LedgerStanding, references: References, found: TableFound
    ) -> None:
        self._table, self._standing, self._references, self._found = table, standing, references, found
        self._key = unique_column(table)
        self._ids: dict[int, tuple[int, bytes]] = {}
        self._names: dict[Value, tuple[int, Row]] = {}
        self._digests: dict[bytes, int] = {}

    def sift(self, drafts: Sequence[Draft], *, kept: bool) -> None:
        """Mark the doubles among some drafts; problems where one cannot stand for the other."""
        sound = [draft for draft in drafts if draft.fits]
        table, key, ids = self._table, self._key, {draft.id for draft in sound if draft.id is not None}
        rows, used, named, twins = {}, set[int](), {}, {}
        if kept:
            rows, used = self._standing.by_id(table.name, ids), self._standing.ever_used(table.name, ids)
        if key is not None:
            names = {draft.values[key.name] for draft in sound}
            named = self._standing.by_name(table.name, key, names)
        elif not kept:
            twins = self._standing.twin(table, [draft.values for draft in sound])
        for draft in sound:
            mark = digest(draft.values)
            if not self._in_file(draft, mark, kept=kept):
                if kept:
                    self._kept(draft, rows, used, named)
                else:
                    self._renumbered(draft, mark, named, twins)

    def _in_file(self, draft: Draft, mark: bytes, *, kept: bool) -> bool:
        """Whether a row before it in the file settles it."""
        key = self._key
        if draft.id is not None:
            row, before = self._ids.setdefault(draft.id, (draft.row, mark))
            if row != draft.row:
                if before == mark:
                    self._double(draft, "twice in the file", row, None)
                else:
                    self._trouble(draft, "id", draft.id, f"row {row} has that id and other values")
                return True
        if key is not None:
            name = draft.values[key.name]
            row, values = self._names.setdefault(name, (draft.row, draft.values))
            if row != draft.row:
                if kept:
                    self._trouble(draft, key.name, name, f"it is unique, and row {row} has it")
                else:
                    self._double(draft, "twice in the file", row, values)
                return True
        elif draft.id is None:
            row = self._digests.setdefault(mark, draft.row)
            if row != draft.row:
                self._double(draft, "twice in the file", row, None)
                return True
        return False

    def _kept(
        self, draft: Draft, rows: Mapping[int, Row], used: set[int], named: Mapping[Value, Row]
    ) -> None:
        noun, row_id = self._table.noun, draft.id or 0
        now = rows.get(row_id)
        if now is not None and now["removed_at"] is not None:
            self._trouble(draft, "id", row_id, f"that {noun} is in the bin: bring it back there, or renumber")
        elif now is not None and not _differs(draft.values, now):
            self._double(draft, "there already", row_id, None)
            self._references.place(self._table, draft, row_id, self._key)
        elif now is not None or row_id in used:
            self._trouble(
                draft, "id", row_id, f"it is or was another {noun} here: bring the rows in renumbered"
            )
        elif self._key is not None and draft.values[self._key.name] in named:
            name = draft.values[self._key.name]
            self._trouble(
                draft,
                self._key.name,
                name,
                f"{noun} {named[name]['id']} has it: bring the rows in renumbered",
            )

    def _renumbered(
        self, draft: Draft, mark: bytes, named: Mapping[Value, Row], twins: Mapping[bytes, int]
    ) -> None:
        now = named.get(draft.values[self._key.name]) if self._key is not None else None
        if now is not None and now["removed_at"] is None:
            self._double(draft, "there already", now["id"], now)
            self._references.place(self._table, draft, now["id"], self._key)
        elif mark in twins:
            self._double(draft, "there already", twins[mark], None)
            self._references.place(self._table, draft, twins[mark], self._key)
        elif self._key is not None:
            self._near(draft, self._key)

    def _near(self, draft: Draft, key: Column) -> None:
        """Capitals, spaces and leading zeros make no other name."""
        name = draft.values[key.name]
        near = self._standing.near(self._table.name, key, name)
        if near is not None:
            draft.fits = False
            noun = self._table.noun
            allowed = f"it differs from a {noun} that is there only in capitals, spaces or leading zeros"
            self._found.trouble(draft.row, key.name, repr(name)[:60], allowed, nearest=near)

    def _double(self, draft: Draft, where: str, of: int, other: Row | None) -> None:
        draft.fits = False
        draft.double = True
        self._found.double(
            Duplicate(
                table=self._table.name,
                row=draft.row,
                where="there already" if where == "there already" else "twice in the file",
                of=of,
                differs=() if other is None else _differs(draft.values, other),
            )
        )

    def _trouble(self, draft: Draft, column: str, given: Value, allowed: str) -> None:
        draft.fits = False
        self._found.trouble(draft.row, column, repr(given)[:60], allowed)


def _differs(values: Row, other: Mapping[str, Value]) -> tuple[str, ...]:
    return tuple(name for name, value in values.items() if other.get(name) != value)
