"""What an import asks and what it answers.

Guarded by `tests/store/test_import.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from canebench.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from canebench.store.exchange.headers import Matched
    from canebench.store.tables import Row

#: So many problems and duplicates are kept of each table; all are counted.
MOST_KEPT: Final = 1000
#: So many rows are shown as they would be written.
SHOWN_ROWS: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportChoices:
    """How rows come in.

    `ids`: `kept` as the file has them (into a new ledger), or `renumbered` with what refers to them.
    `duplicates`: `skip` them, or `refuse` the file for one. `mapping`: for a table, from a header to the
    column it means (`seat_mm`, `seat_mm [inch]`), None to leave it out. `now` is taken for since when a reed
    is in its state, where a list does not tell that; None for nothing.
    """

    ids: Literal["kept", "renumbered"]
    duplicates: Literal["skip", "refuse"]
    mapping: Mapping[str, Mapping[str, str | None]] = field(default_factory=dict)
    now: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowProblem:
    """A row that cannot come in: `row` as the file's reader counts, the header being row 1."""

    table: str
    row: int
    column: str
    given: str
    allowed: str
    nearest: str | None = None

    @property
    def sentence(self) -> str:
        """Where, what, and what would do."""
        advice = f" Nearest that works: {self.nearest}." if self.nearest else ""
        return f"{self.table}, row {self.row}, {self.column}: {self.given} was given; {self.allowed}.{advice}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Duplicate:
    """A row that is there: as row `of` of the ledger (`there already`) or of the file (`twice in the file`).

    `differs` names the columns in which the two are not the same.
    """

    table: str
    row: int
    where: Literal["there already", "twice in the file"]
    of: int
    differs: tuple[str, ...]


@dataclass(slots=True, kw_only=True)
class TableFound:
    """What a table's rows come to: `first` holds (row, values as they would be written)."""

    table: str
    matched: tuple[Matched, ...]
    decimal: str
    rows: int = 0
    fitting: int = 0
    first: list[tuple[int, Row]] = field(default_factory=list)
    problems: list[RowProblem] = field(default_factory=list)
    problem_count: int = 0
    duplicates: list[Duplicate] = field(default_factory=list)
    duplicate_count: int = 0
    #: Times that say no zone, and are taken as UTC.
    zoneless: int = 0
    #: Rows that do not tell since when their state is: it is taken to be so since now.
    since_now: int = 0

    @property
    def since_now_said(self) -> str:
        """That rows without a time are taken to be so since now."""
        told = "1 row does not tell" if self.since_now == 1 else f"{self.since_now} rows do not tell"
        return f"{told} since when their state is: it is taken to be so since now"

    def trouble(self, row: int, column: str, given: str, allowed: str, *, nearest: str | None = None) -> None:
        """One problem more."""
        self.problem_count += 1
        if len(self.problems) < MOST_KEPT:
            self.problems.append(
                RowProblem(
                    table=self.table, row=row, column=column, given=given, allowed=allowed, nearest=nearest
                )
            )

    def double(self, duplicate: Duplicate) -> None:
        """One duplicate more."""
        self.duplicate_count += 1
        if len(self.duplicates) < MOST_KEPT:
            self.duplicates.append(duplicate)


def refused(found: Mapping[str, TableFound], choices: ImportChoices) -> bool:
    """Whether nothing of it may be written."""
    doubles = choices.duplicates == "refuse"
    return any(one.problem_count or (doubles and one.duplicate_count) for one in found.values())


class ImportRefusedError(InputError):
    """An import that was not done, with every reason; `found` is what each table came to."""

    code = "import-refused"

    def __init__(self, found: Mapping[str, TableFound]) -> None:
        self.found = dict(found)
        problems = sum(one.problem_count for one in found.values())
        doubles = sum(one.duplicate_count for one in found.values())
        if problems:
            first = next(one.problems[0] for one in found.values() if one.problems)
            given = f"a file with {problems} problem{'s' if problems > 1 else ''}"
            allowed = f"all rows fit or none is written. {first.sentence[:-1]}"
        else:
            twin = next(one.duplicates[0] for one in found.values() if one.duplicates)
            given = f"a file with {doubles} duplicate{'s' if doubles > 1 else ''}"
            allowed = (
                f"skip them to write the others. {twin.table}, row {twin.row}: {twin.where} as {twin.of}"
            )
        super().__init__(field="import", given=given, allowed=allowed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import did: the act to undo, None where every row was there already."""

    act_id: int | None
    found: Mapping[str, TableFound]

    @property
    def written(self) -> int:
        """How many rows came in."""
        return sum(one.fitting for one in self.found.values())
