"""Rows as a file holds them, before anything is known about their columns; and how much of a file is read.

Guarded by `tests/store/test_import.py` and `tests/faults/test_exchange_fuzz.py`.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, Literal

from canebench.base.errors import InputError, NotFoundError
from canebench.store.tables import Column
from canebench.store.values import plain_text

#: Where a file's bytes are.
Source = Path | bytes
#: How cells are meant: `text` holds nothing but text (CSV), `typed` numbers and text as they are (JSON,
#: Parquet), `loose` what a person's spreadsheet holds: a reed's number may be a number there.
Style = Literal["text", "typed", "loose"]
#: A row's number as its reader counts, the header being row 1, and its cells.
Numbered = tuple[int, Sequence[object]]

MOST_BYTES: Final = 200_000_000
MOST_ROWS: Final = 2_000_000
MOST_CELL: Final = 1_000_000
MOST_COLUMNS: Final = 200

#: The columns that every row has beside its table's own.
ID: Final = Column(name="id", kind="int", needed=True, low=1, high=float(2**53))
VERSION: Final = Column(name="version", kind="int", needed=True, low=1, high=float(2**53))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One table of a file.

    `rows` reads them from the start each time it is called; `total` is None where only reading would tell.
    """

    name: str
    headers: tuple[str, ...]
    rows: Callable[[], Iterator[Numbered]]
    style: Style
    decimal: str = "."
    total: int | None = None


@dataclass(frozen=True, slots=True)
class Odd:
    """A cell that holds no value: what it holds instead, in words."""

    said: str


def opened(source: Source) -> BinaryIO:
    """The bytes of a source, if there are not too many."""
    if isinstance(source, bytes):
        _checked_size("file", len(source))
        return io.BytesIO(source)
    try:
        _checked_size(f"file {source.name}", source.stat().st_size)
        return source.open("rb")
    except FileNotFoundError as error:
        raise NotFoundError(f"There is no file {source}.") from error
    except OSError as error:
        raise InputError(
            field="file", given=str(source), allowed=f"it cannot be read: {error.strerror}"
        ) from error


def extra_needed(form: str) -> InputError:
    """Refusal of a format whose library is not installed."""
    return InputError(
        field="format",
        given=form,
        allowed="the extra tables is needed for that: pip install 'canebench[tables]'",
    )


def told(source: Source) -> str:
    """What messages call a source."""
    return source.name if isinstance(source, Path) else "the file"


def _checked_size(field: str, size: int) -> None:
    if size > MOST_BYTES:
        raise InputError(
            field=field, given=f"{size / 1e6:.0f} MB", allowed=f"at most {MOST_BYTES // 10**6} MB are read"
        )


def checked_headers(name: str, headers: Sequence[object]) -> tuple[str, ...]:
    """Headers as text, without empty ones at the end; some there must be, and not too many."""
    found = ["" if one is None else plain_text(f"header of {name}", str(one), most=1000) for one in headers]
    while found and not found[-1].strip():
        found.pop()
    if not found:
        raise InputError(field=name, given="no header", allowed="the first row names the columns")
    if len(found) > MOST_COLUMNS:
        raise InputError(
            field=name, given=f"{len(found)} columns", allowed=f"at most {MOST_COLUMNS} are read"
        )
    return tuple(found)


def checked_rows(name: str, rows: Iterator[Numbered]) -> Iterator[Numbered]:
    """The same rows; an error once they are too many, too wide or hold too long a cell."""
    for count, (number, cells) in enumerate(rows, start=1):
        if count > MOST_ROWS:
            raise InputError(
                field=name, given=f"more than {MOST_ROWS} rows", allowed="split it: so many are read"
            )
        if len(cells) > MOST_COLUMNS:
            raise InputError(
                field=f"row {number} of {name}",
                given=f"{len(cells)} columns",
                allowed=f"at most {MOST_COLUMNS} are read",
            )
        for cell in cells:
            if isinstance(cell, str) and len(cell) > MOST_CELL // 4 and len(_bytes(cell)) > MOST_CELL:
                raise InputError(
                    field=f"row {number} of {name}",
                    given=f"a cell of {len(cell)} characters",
                    allowed=f"at most {MOST_CELL // 10**6} MB are read",
                )
        yield number, cells


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", errors="surrogatepass")


def written_columns(columns: Sequence[Column]) -> tuple[Column, ...]:
    """A table's columns with the two that every row has."""
    return (ID, VERSION, *columns)
